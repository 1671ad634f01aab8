package calc

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"belay/internal/stability"
	"belay/internal/strictjson"
	"belay/internal/trial"
	"belay/internal/units"
)

// Need asks for the load voltage that each ratio needs, from trials.
type Need struct {
	Trials    []Trial    `json:"trials" required:"" kong:"-" help:"The trials, one object each."`
	Keep      *RatioVolt `json:"keep" placeholder:"RATIO:V" help:"Ratio and load voltage to judge."`
	Delivered *RatioVolt `json:"delivered" placeholder:"RATIO:V" help:"All-core ratio and load voltage as delivered, if known."`
	TargetH   float64    `json:"target_h" default:"500" placeholder:"H" help:"Hours between failures under load that you want."`
	Load      string     `json:"load" help:"Load class to answer for. Without it, that of the first trial."`
}

// RatioVolt is a ratio at a load voltage.
type RatioVolt struct {
	Ratio   int     `json:"ratio"`
	Voltage float64 `json:"load_voltage_v"`
}

// UnmarshalText reads RATIO:V. A unit may stand behind the voltage.
func (k *RatioVolt) UnmarshalText(text []byte) error {
	var ratio float64
	if err := colons(text, "RATIO:V, as in 49:1.310", part{"×", &ratio}, part{"V", &k.Voltage}); err != nil {
		return err
	}
	k.Ratio = int(math.Round(ratio))
	return nil
}

// UnmarshalJSON reads an object with the two keys, or a text as on the
// command line.
func (k *RatioVolt) UnmarshalJSON(body []byte) error {
	if body[0] == '"' {
		var text string
		if err := json.Unmarshal(body, &text); err != nil {
			return err
		}
		return k.UnmarshalText([]byte(text))
	}
	type plain RatioVolt
	return strictjson.Decode(body, (*plain)(k))
}

// NeedResult is the load voltage that each tried ratio needs for the target,
// and the slope of failures over voltage. Confidence is there when a setting
// to keep was given, and null without enough evidence.
type NeedResult struct {
	Need       []RatioNeed `json:"need"`
	Slope      [3]float64  `json:"slope_mv_per_decade"`
	Confidence **float64   `json:"confidence,omitempty"`
	Warnings   []string    `json:"warnings"`

	in Need
}

// RatioNeed is the need of one ratio by its 5 %, 50 % and 95 % points.
type RatioNeed struct {
	Ratio int     `json:"ratio"`
	Q05   float64 `json:"q05_v"`
	Q50   float64 `json:"q50_v"`
	Q95   float64 `json:"q95_v"`
}

// Calculate returns a NeedResult.
func (n Need) Calculate() (Result, error) {
	var c checks
	obs := c.observations(n)
	if err := c.fault(); err != nil {
		return nil, err
	}
	if len(obs) == 0 {
		c.refuse("trials", "None of the trials says anything about voltage.")
		return nil, c.fault()
	}
	p, err := stability.Fit(n.prior(obs), obs)
	if err != nil {
		return nil, err
	}
	load := trial.Load(n.Load)
	if load == "" {
		load = obs[0].Load
	}
	r := NeedResult{in: n, Warnings: n.warnings(obs, load)}
	r.Slope[0], r.Slope[1], r.Slope[2] = p.SlopePerDecade()
	for _, ratio := range n.ratios(obs) {
		b := p.NeedBand(load, ratio, 0, n.TargetH)
		r.Need = append(r.Need, RatioNeed{int(ratio), float64(b.Target.Q05), float64(b.Target.Q50), float64(b.Target.Q95)})
		r.warn(b.Warnings)
	}
	if n.Keep == nil {
		return r, nil
	}
	var confidence *float64
	if at := units.Ratio(n.Keep.Ratio); !p.Thin(load, at) {
		x := p.Confidence(load, at, units.Volt(n.Keep.Voltage), 0, n.TargetH)
		confidence = &x
	}
	r.Confidence = &confidence
	return r, nil
}

func (r *NeedResult) warn(list []string) {
	for _, w := range list {
		if !slices.Contains(r.Warnings, w) {
			r.Warnings = append(r.Warnings, w)
		}
	}
}

// warnings says what the numbers rest on.
func (n Need) warnings(obs []stability.Observation, load trial.Load) []string {
	out := []string{}
	if n.Delivered == nil {
		out = append(out, "The voltage as delivered is not given, so the prior is laid around the trials and wide.")
	}
	if void := len(n.Trials) - len(obs); void > 0 {
		out = append(out, fmt.Sprintf("Trials that say nothing about voltage: %d.", void))
	}
	if slices.ContainsFunc(obs, func(o stability.Observation) bool { return o.Load != load }) {
		out = append(out, fmt.Sprintf("The trials are of several loads. The answer is for the %s load.", load))
	}
	return out
}

// wideSD is how far the ten-minute need may lie from the trials when the
// voltage as delivered is not known. Chosen: twice the guardband's spread.
const wideSD units.Volt = 0.12

// prior starts from the point as delivered. Without it, the prior is laid
// around the trials: the middle of their voltages, moved to the lowest ratio
// by the slope of the prior.
func (n Need) prior(obs []stability.Observation) stability.Prior {
	if n.Delivered != nil {
		return stability.DefaultPrior(units.Ratio(n.Delivered.Ratio), units.Volt(n.Delivered.Voltage))
	}
	lowest := n.ratios(obs)[0]
	p := stability.DefaultPrior(lowest, 1)
	var moved []float64
	for _, o := range obs {
		d := float64(o.Ratio - lowest)
		moved = append(moved, float64(o.LoadVoltage-p.BMean*units.Volt(d)-p.CMean*units.Volt(d*d)))
	}
	slices.Sort(moved)
	p.AMean = units.Volt((moved[(len(moved)-1)/2] + moved[len(moved)/2]) / 2)
	p.ASD = wideSD
	return p
}

// ratios are those of the trials and of the keep, ascending.
func (n Need) ratios(obs []stability.Observation) []units.Ratio {
	var out []units.Ratio
	for _, o := range obs {
		out = append(out, o.Ratio)
	}
	if n.Keep != nil {
		out = append(out, units.Ratio(n.Keep.Ratio))
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Sentences tells the need of each ratio.
func (r NeedResult) Sentences() []string {
	target := amount("", r.in.TargetH)
	var out []string
	for _, n := range r.Need {
		out = append(out, fmt.Sprintf("Ratio %d needs %.3f V (%.3f to %.3f V) under load for %s h between failures.", n.Ratio, n.Q50, n.Q05, n.Q95, target))
	}
	out = append(out, fmt.Sprintf("Failures grow tenfold for every %.0f mV less (%.0f to %.0f mV).", r.Slope[1], r.Slope[0], r.Slope[2]))
	if r.Confidence != nil {
		claim := "there is not enough evidence yet to judge it"
		if c := *r.Confidence; c != nil {
			claim = fmt.Sprintf("it meets that with %.0f %% confidence", math.Floor(min(*c, 0.99)*100+1e-9))
		}
		out = append(out, fmt.Sprintf("At %.3f V and ratio %d, %s.", r.in.Keep.Voltage, r.in.Keep.Ratio, claim))
	}
	return append(out, r.Warnings...)
}
