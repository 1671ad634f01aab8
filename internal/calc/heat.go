package calc

import (
	"fmt"

	"belay/internal/heat"
	"belay/internal/units"
)

// Heat asks where a heat loop settles: P = dynamic + leak exp((T-ref)/scale),
// T = air + rth P.
type Heat struct {
	Air        float64 `json:"air" required:"" placeholder:"C" help:"Air temperature at the intake, in degrees Celsius."`
	Rth        float64 `json:"rth" required:"" placeholder:"K/W" help:"Thermal resistance from core to air."`
	DynamicW   float64 `json:"dynamic_w" required:"" placeholder:"W" help:"Dynamic power."`
	LeakW      float64 `json:"leak_w" default:"0" placeholder:"W" help:"Leakage power at its reference temperature."`
	LeakRefC   float64 `json:"leak_ref_c" default:"60" placeholder:"C" help:"Reference temperature of the leakage."`
	LeakScaleC float64 `json:"leak_scale_c" default:"40" placeholder:"C" help:"Rise in temperature that multiplies the leakage by e."`
}

// HeatResult is where the loop settles. Temperature and power are null where
// it runs away.
type HeatResult struct {
	TempC    *float64 `json:"temp_c"`
	PowerW   *float64 `json:"power_w"`
	LoopGain float64  `json:"loop_gain"`
	Runaway  bool     `json:"runaway"`
	Warnings []string `json:"warnings"`

	sentence string
}

// hotC is the temperature from which a result is warned of. Common practice,
// no source: the limit of most desktop parts.
const hotC = 100

// Calculate returns a HeatResult. Ranges are those of the model.
func (h Heat) Calculate() (Result, error) {
	var c checks
	c.within("air", "°C", h.Air, -40, 100)
	c.within("rth", "K/W", h.Rth, 1e-4, 100)
	c.within("dynamic_w", "W", h.DynamicW, 0, 5000)
	c.within("leak_w", "W", h.LeakW, 0, 5000)
	c.within("leak_ref_c", "°C", h.LeakRefC, -40, 200)
	c.within("leak_scale_c", "°C", h.LeakScaleC, 1, 1000)
	if err := c.fault(); err != nil {
		return nil, err
	}
	s, err := heat.Loop{
		Air: units.Celsius(h.Air), Resistance: h.Rth, Dynamic: units.Watt(h.DynamicW),
		Leak: units.Watt(h.LeakW), Ref: units.Celsius(h.LeakRefC), Scale: h.LeakScaleC,
	}.Solve()
	if err != nil {
		return nil, err
	}
	if s.Runaway {
		return HeatResult{LoopGain: s.Gain, Runaway: true, Warnings: []string{s.Sentence}}, nil
	}
	r := HeatResult{LoopGain: s.Gain, Warnings: []string{}, sentence: s.Sentence}
	temp, power := float64(s.Temp), float64(s.Power)
	r.TempC, r.PowerW = &temp, &power
	if temp > hotC {
		r.Warnings = append(r.Warnings, fmt.Sprintf("That is above %d °C, where most desktop processors slow down or stop.", hotC))
	}
	return r, nil
}

// Sentences tells where the loop settles.
func (r HeatResult) Sentences() []string {
	if r.Runaway {
		return r.Warnings
	}
	return append([]string{r.sentence, fmt.Sprintf("The loop gain is %.3f; at 1 it would run away.", r.LoopGain)}, r.Warnings...)
}
