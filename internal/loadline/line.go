// Package loadline learns how far the core voltage falls under load, turns a
// wanted load voltage into the value to set, and says when the board's load
// line should be changed.
//
// The model is V_load = V_set - R·I + offset with I = P/V_load; the offset is
// that of the meter, so every load voltage is one as this meter reads it.
// Equations, assumptions and sources: docs/models/loadline.md.
package loadline

import (
	"fmt"
	"math"

	"belay/internal/fault"
	"belay/internal/units"
)

// Interval is a low, middle and high value; Low <= Mid <= High. The unit is
// that of the field that holds it.
type Interval struct {
	Low  float64 `json:"low"`
	Mid  float64 `json:"mid"`
	High float64 `json:"high"`
}

// Reading is one look at the machine under a steady load with static voltage.
type Reading struct {
	Set   units.Volt // as entered in the firmware, exact
	Load  units.Volt // read under load
	Power units.Watt // package power at the same time
}

// Noise is how far readings stray from the truth, as standard deviations.
type Noise struct {
	Meter float64 `yaml:"meter_v"`     // V, error of one load voltage reading
	Step  float64 `yaml:"step_v"`      // V, the grid on which the meter shows its value
	Power float64 `yaml:"power_share"` // relative error of the power reading
}

// Prior is what is believed before any reading. A platform file carries it.
type Prior struct {
	Resistance   float64 `yaml:"resistance_ohm"`
	ResistanceSD float64 `yaml:"resistance_sd_ohm"`
	OffsetSD     float64 `yaml:"offset_sd_v"` // V, around zero
	Noise        Noise   `yaml:"noise"`
}

// Validate returns an Invalid fault if a number is out of range: deviations
// must be positive and everything at a scale that a board has.
func (p Prior) Validate() error {
	for _, x := range []struct {
		name string
		v    float64
	}{
		{"resistance_sd_ohm", p.ResistanceSD}, {"offset_sd_v", p.OffsetSD},
		{"noise", p.Noise.Meter}, {"noise", p.Noise.Step}, {"noise", p.Noise.Power},
	} {
		if !(x.v > 0 && x.v < 1) {
			return fault.Newf(fault.Invalid, "Correct the platform file.", "the load line prior's %s is out of range", x.name)
		}
	}
	if !(math.Abs(p.Resistance) < 1) {
		return fault.New(fault.Invalid, "the load line prior's resistance_ohm is out of range", "Correct the platform file.")
	}
	return nil
}

// DefaultPrior is wide: boards offer anything from a slope of two milliohms to
// one that lifts the voltage under load. The middle lies under the 1.25 mΩ of
// a published voltage-regulator guideline, because boards for tuning are
// flatter (common practice, no source). Meters of two boards differ by 10 mV
// or more (common practice, no source), hence 15 mV for the offset.
func DefaultPrior() Prior {
	return Prior{
		Resistance: 0.8e-3, ResistanceSD: 0.7e-3, OffsetSD: 0.015,
		Noise: Noise{Meter: 0.005, Step: 0.001, Power: 0.03},
	}
}

func (n Noise) meterVar() float64 { return n.Meter*n.Meter + n.Step*n.Step/12 }

// Line is a fitted load line. It is immutable; make it with Fit.
type Line struct {
	prior    Prior
	r        float64 // ohm
	offset   float64 // V
	varR     float64
	varOff   float64
	cov      float64
	inflate  float64 // factor on the noise variance, at least 1
	count    int
	warnings []string
}

// Fit learns the line from readings; none at all leaves the prior. Readings
// that contradict the model are named in the warnings and kept. The slice is
// not modified. It returns an Invalid fault for a value that no machine has.
//
// Both the load voltage and the power carry errors: each residual
// y - R·I + offset, y = set - load, I = P/load, is divided by its effective
// deviation sqrt(m²(1 - R·I/V)² + (R·I·p)²), which moves with R.
// Source: York, Canadian Journal of Physics 44 (1966) 1079 (errors in both
// axes); Gaussian priors on R and offset make two readings enough.
func Fit(prior Prior, readings []Reading) (Line, error) {
	for i, r := range readings {
		if err := r.check(i); err != nil {
			return Line{}, err
		}
	}
	l := Line{prior: prior, inflate: 1, count: len(readings)}
	l.climb(readings)
	if wide := l.misfit(readings); wide > 1 {
		l.inflate = wide
		l.climb(readings)
	}
	l.warnings = l.judgeReadings(readings)
	return l, nil
}

func (r Reading) check(i int) error {
	bad := func(field, why string) error {
		f := fault.Newf(fault.Invalid, "Check the value and enter it again.", "Reading %d: %s", i+1, why)
		f.Fields = []fault.Field{{Field: field, Message: why}}
		return f
	}
	switch {
	case !(r.Set >= 0.3 && r.Set <= 2):
		return bad("set_voltage_v", "the set voltage must lie between 0.3 and 2 V.")
	case !(r.Load >= 0.3 && r.Load <= 2):
		return bad("load_voltage_v", "the load voltage must lie between 0.3 and 2 V.")
	case !(r.Power > 0 && r.Power <= 1500):
		return bad("package_power_w", "the power must lie between 0 and 1500 W.")
	}
	return nil
}

func (r Reading) current() float64 { return float64(r.Power) / float64(r.Load) }

// residual returns the residual over its deviation and the slopes of that in
// R and offset.
func (l *Line) residual(r Reading) (w, dR, dOff float64) {
	n := l.prior.Noise
	i, v := r.current(), float64(r.Load)
	meter, slack := n.meterVar(), 1-l.r*i/v
	power := i * n.Power
	variance := l.inflate * (meter*slack*slack + l.r*l.r*power*power)
	dVar := l.inflate * (-2*meter*slack*i/v + 2*l.r*power*power)
	res := float64(r.Set-r.Load) - l.r*i + l.offset
	sd := math.Sqrt(variance)
	return res / sd, -i/sd - res*dVar/(2*variance*sd), 1 / sd
}

// climb walks to the most probable line by Gauss-Newton and keeps the
// covariance there.
func (l *Line) climb(readings []Reading) {
	p := l.prior
	l.r, l.offset = p.Resistance, 0
	for range 50 {
		hRR, hOO, hRO := 1/(p.ResistanceSD*p.ResistanceSD), 1/(p.OffsetSD*p.OffsetSD), 0.0
		gR, gO := (p.Resistance-l.r)*hRR, -l.offset*hOO
		for _, r := range readings {
			w, dR, dO := l.residual(r)
			hRR += dR * dR
			hOO += dO * dO
			hRO += dR * dO
			gR -= dR * w
			gO -= dO * w
		}
		det := hRR*hOO - hRO*hRO
		l.varR, l.varOff, l.cov = hOO/det, hRR/det, -hRO/det
		stepR, stepO := l.varR*gR+l.cov*gO, l.cov*gR+l.varOff*gO
		// A step of at most one prior deviation keeps the walk from overshooting
		// where one reading is far off.
		short := math.Min(1, math.Min(p.ResistanceSD/math.Abs(stepR), 2*p.OffsetSD/math.Abs(stepO)))
		l.r += short * stepR
		l.offset += short * stepO
		if math.Abs(stepR) < 1e-12 && math.Abs(stepO) < 1e-10 {
			return
		}
	}
}

// trust is how many readings' worth of belief the stated noise carries.
// Chosen: a handful of readings can double the noise, two cannot.
const trust = 8.0

func (l *Line) misfit(readings []Reading) float64 {
	sum := trust
	for _, r := range readings {
		w, _, _ := l.residual(r)
		sum += w * w
	}
	return sum / (trust + float64(len(readings)))
}

// Summary is what the readings say about the line.
type Summary struct {
	Resistance Interval // mΩ
	Offset     Interval // V
	Readings   int
	Warnings   []string
}

// Summary returns resistance and offset with two-sided intervals of the given
// level, 0.5 to 0.999.
func (l Line) Summary(level float64) (Summary, error) {
	z, err := quantile(level)
	if err != nil {
		return Summary{}, err
	}
	r := around(l.r, l.varR, z)
	return Summary{
		Resistance: Interval{1000 * r.Low, 1000 * r.Mid, 1000 * r.High},
		Offset:     around(l.offset, l.varOff, z),
		Readings:   l.count,
		Warnings:   l.warnings,
	}, nil
}

func around(mid, variance, z float64) Interval {
	half := z * math.Sqrt(variance)
	return Interval{mid - half, mid, mid + half}
}

// quantile is the standard normal deviate of a two-sided level.
func quantile(level float64) (float64, error) {
	if !(level >= 0.5 && level <= 0.999) {
		return 0, fault.New(fault.Invalid, "The level must lie between 0.5 and 0.999.", "Use 0.9 for most purposes.")
	}
	return math.Sqrt2 * math.Erfinv(level), nil
}

// Limits of what readings can say. enoughSpread: chosen, under a fifth of the
// current the slope cannot be told from the offset. oddResidual: chosen, one
// good reading in 6000 strays as far. oneSigma: the level of one standard
// deviation.
const (
	enoughSpread = 0.20
	oddResidual  = 3.8
	oneSigma     = 0.682689492137086
)

func (l *Line) judgeReadings(readings []Reading) []string {
	if len(readings) == 0 {
		return []string{"There are no readings yet. This range covers many boards and is wide."}
	}
	var out []string
	low, high := math.Inf(1), 0.0
	for i, r := range readings {
		low, high = math.Min(low, r.current()), math.Max(high, r.current())
		if over := float64(r.Load - r.Set); over > l.explained() {
			out = append(out, fmt.Sprintf("Reading %d: the load voltage is %.0f mV above the set voltage. "+
				"The meter explains at most %.0f mV. Check both values and that the voltage mode is static.",
				i+1, 1000*over, 1000*l.explained()))
		}
	}
	if at, odd := l.oddest(readings); odd && len(out) == 0 {
		out = append(out, fmt.Sprintf("The readings disagree, and reading %d fits least. Take it again.", at+1))
	}
	if high-low < enoughSpread*high {
		out = append(out, "All readings are at nearly the same current. Add one at a lighter load.")
	}
	return out
}

// oddest returns the reading that the line through all others predicts worst,
// and whether it strays further than chance. It needs three readings.
func (l *Line) oddest(readings []Reading) (int, bool) {
	if len(readings) < 3 {
		return 0, false
	}
	at, worst := 0, 0.0
	for i, r := range readings {
		others := make([]Reading, 0, len(readings)-1)
		others = append(append(others, readings[:i]...), readings[i+1:]...)
		rest := Line{prior: l.prior, inflate: 1}
		rest.climb(others)
		stray := math.Inf(1)
		if p, err := rest.LoadAt(r.Set, r.Power, oneSigma); err == nil {
			stray = math.Abs(float64(r.Load)-p.Mid) / (p.High - p.Mid)
		}
		if stray > worst {
			at, worst = i, stray
		}
	}
	return at, worst > oddResidual
}

// explained is how far above the set voltage the meter alone can put a
// reading: 2.5 deviations of its offset and error together. Chosen: one
// honest meter in 160.
func (l *Line) explained() float64 {
	return 2.5 * math.Sqrt(l.prior.OffsetSD*l.prior.OffsetSD+l.prior.Noise.meterVar())
}
