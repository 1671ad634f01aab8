package calc

import (
	"fmt"

	"belay/internal/units"
	"belay/internal/wear"
)

// Wear asks how much faster one setting ages the processor than another.
type Wear struct {
	V0 float64 `json:"v0" name:"v0" required:"" placeholder:"V" help:"Load voltage of the baseline."`
	T0 float64 `json:"t0" name:"t0" required:"" placeholder:"C" help:"Hottest core of the baseline, in degrees Celsius."`
	V1 float64 `json:"v1" name:"v1" required:"" placeholder:"V" help:"Load voltage of the setting to compare."`
	T1 float64 `json:"t1" name:"t1" required:"" placeholder:"C" help:"Hottest core of that setting."`
}

// WearResult is the factor of wear with its band. It is no lifetime.
type WearResult struct {
	Low      float64  `json:"factor_low"`
	Mid      float64  `json:"factor_mid"`
	High     float64  `json:"factor_high"`
	Warnings []string `json:"warnings"`
}

// Calculate returns a WearResult. Ranges are those of the model.
func (w Wear) Calculate() (Result, error) {
	var c checks
	c.within("v0", "V", w.V0, 0.5, 2)
	c.within("t0", "°C", w.T0, -20, 125)
	c.within("v1", "V", w.V1, 0.5, 2)
	c.within("t1", "°C", w.T1, -20, 125)
	if err := c.fault(); err != nil {
		return nil, err
	}
	r, err := wear.Relative(
		wear.Condition{Voltage: units.Volt(w.V0), Temp: units.Celsius(w.T0)},
		wear.Condition{Voltage: units.Volt(w.V1), Temp: units.Celsius(w.T1)})
	if err != nil {
		return nil, err
	}
	return WearResult{Low: r.Low, Mid: r.Mid, High: r.High, Warnings: orNone(r.Warnings)}, nil
}

// Sentences tells the band.
func (r WearResult) Sentences() []string {
	return append([]string{
		fmt.Sprintf("The setting wears %s to %s times as fast as the baseline.", digits(r.Low), digits(r.High)),
		fmt.Sprintf("The middle of the band is %s; it is no best estimate.", digits(r.Mid)),
	}, r.Warnings...)
}
