package planner

import (
	"belay/internal/stability"
	"belay/internal/trial"
	"belay/internal/units"
)

// Report is what the models say of a setting and of the machine, for the
// evidence panel. Parts that the evidence does not reach are nil or empty.
type Report struct {
	Confidence *float64
	ReserveMV  *float64 // load voltage of the setting above the median need for the target, mV
	Needs      []Need
	Resistance *[3]float64 // K/W, 5 %, 50 % and 95 %
	Room       float64     // °C
	LineMOhm   *[3]float64 // 2.5 %, 50 % and 97.5 %
	LineOffset float64     // V
	Warnings   []string
	Standing   Standing
}

// Need is the load voltage that a ratio needs.
type Need struct {
	Load  trial.Load
	Ratio units.Ratio
	Band  stability.Band
}

// Assess says what the evidence supports for a setting under a load.
func Assess(in Input, keep trial.Settings, load trial.Load) Report {
	b := believe(in)
	r := Report{Standing: b.stand(in, keep)}
	if b.need != nil {
		r.needs(b, in, load)
		if keep.Ratio > 0 && keep.SetVoltage > 0 && !b.need.Thin(load, b.under(keep, load)) {
			c := b.confidence(keep, load, in.Wishes.TargetH)
			m, _ := b.middle(keep, load)
			reserve := (m.volt - b.need.Need(load, b.under(keep, load), m.temp, in.Wishes.TargetH, 0.5)).Millivolts()
			r.Confidence, r.ReserveMV = &c, &reserve
		}
	}
	if sum, err := b.heat.Summary(predictLevel); err == nil && sum.Evidence > 0 {
		r.Resistance = &[3]float64{sum.Resistance.Low, sum.Resistance.Mid, sum.Resistance.High}
		r.Room = sum.Room.Mid
	}
	if sum, err := b.line.Summary(0.95); err == nil && b.lined {
		r.LineMOhm = &[3]float64{sum.Resistance.Low, sum.Resistance.Mid, sum.Resistance.High}
		r.LineOffset = sum.Offset.Mid
	}
	return r
}

func (r *Report) needs(b *belief, in Input, load trial.Load) {
	var lo, hi units.Ratio
	for _, t := range in.Trials {
		if x := t.Settings.Ratio; x > 0 && coreLoad(t.Load) {
			if lo == 0 || x < lo {
				lo = x
			}
			hi = max(hi, x)
		}
	}
	if lo == 0 {
		return
	}
	for x := lo; x <= hi+1; x++ {
		r.Needs = append(r.Needs, Need{Load: load, Ratio: x, Band: b.need.NeedBand(load, x, 0, in.Tuning.careful(in.Wishes.TargetH))})
	}
	r.Warnings = append(r.Warnings, b.need.Warnings(load, hi)...)
}

// Percent is a confidence as a claim names it: rounded down, and never 100 %.
func Percent(confidence float64) int { return int(min(confidence*100, 99)) }

// ModelFree is the lower 95 % bound, in hours, on the mean time between
// failures after so many failures in so many hours. It needs no model.
func ModelFree(failures int, hours float64) float64 {
	low, _, _, err := stability.ModelFree(failures, hours, 0.95)
	if err != nil {
		return 0
	}
	return low
}
