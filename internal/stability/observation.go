package stability

import (
	"cmp"
	"math"

	"belay/internal/fault"
	"belay/internal/trial"
	"belay/internal/units"
)

// Kind says what an observation tells.
type Kind string

const (
	Clean  Kind = "clean"  // ran PlannedMinutes without a failure
	Failed Kind = "failed" // failed between FailedFrom and FailedTo
	Void   Kind = "void"   // says nothing about voltage
)

// Observation is one trial as this model sees it.
type Observation struct {
	Load        trial.Load
	Ratio       units.Ratio
	LoadVoltage units.Volt    // measured under load, in the meter's own terms
	CoreTemp    units.Celsius // hottest core; 0 = unknown, taken as the prior's TRef

	// PlannedMinutes is how long it was to run; for Clean how long it ran.
	PlannedMinutes units.Minutes
	// FailedFrom and FailedTo bound the time to failure. Equal and above 0:
	// known exactly.
	FailedFrom, FailedTo units.Minutes
	Kind                 Kind
	// AtOnce marks a failure to start: a cause other than voltage is then as
	// likely at once as ever, however long the trial was to run.
	AtOnce bool
}

// atOnce is the span, in minutes, within which a PC that does not start is
// said to have failed. Chosen: a start takes about a minute.
const atOnce units.Minutes = 1

// rounding is how far a failure time in whole minutes may be off, in minutes.
// Chosen: covers rounding up, down and to the nearest minute.
const rounding units.Minutes = 1

// FromTrial reads t as an observation. It reports false if t tells this model
// nothing: no ratio, no load voltage, an unknown load class or no time. A PC
// that did not start has no load voltage of its own: fill in the expected one
// first. A trial that judges memory or cache settings is the caller's to leave
// out. Under wide vectors the ratio is the one after the wide-vector offset.
func FromTrial(t trial.Trial) (Observation, bool) {
	o := Observation{
		Load: t.Load, Ratio: t.Settings.Ratio, LoadVoltage: t.Readings.LoadVoltage,
		CoreTemp: t.Readings.CoreTemp, PlannedMinutes: t.PlannedMinutes, Kind: Void,
	}
	if t.Load == trial.WideVector {
		o.Ratio -= units.Ratio(t.Settings.WideVectorOffset)
	}
	switch {
	case t.Outcome == trial.Clean || t.Outcome.Hot():
		if t.Outcome.Hot() || t.Minutes > 0 {
			o.PlannedMinutes = t.Minutes
		}
		if o.PlannedMinutes > 0 {
			o.Kind = Clean
		}
	case t.Outcome == trial.NoBoot:
		o.Kind, o.FailedTo, o.AtOnce = Failed, atOnce, true
		o.PlannedMinutes = max(o.PlannedMinutes, atOnce)
	case t.Outcome.Failed():
		o.Kind = Failed
		o.FailedFrom, o.FailedTo = failureSpan(t)
		o.PlannedMinutes = max(o.PlannedMinutes, o.FailedTo)
	}
	return o, o.Kind != Void && o.Ratio > 0 && o.check() == nil
}

// failureSpan bounds the time to failure of a trial that failed while running.
// No minutes means "at once or unknown": the whole plan covers both.
func failureSpan(t trial.Trial) (from, to units.Minutes) {
	switch {
	case t.TimeUnknown || t.Minutes <= 0:
		return 0, max(t.PlannedMinutes, t.Minutes)
	case float64(t.Minutes) == math.Trunc(float64(t.Minutes)):
		return max(0, t.Minutes-rounding), t.Minutes + rounding
	}
	return t.Minutes, t.Minutes
}

// check returns an Invalid fault for an observation that cannot be used.
func (o Observation) check() error {
	bad := func(what string) error {
		return fault.Newf(fault.Invalid, "Correct this trial, or mark it as stopped.", "the trial's %s cannot be used", what)
	}
	if o.Kind == Void {
		return nil
	}
	for _, v := range []float64{float64(o.PlannedMinutes), float64(o.FailedFrom), float64(o.FailedTo)} {
		if !finite(v) || v < 0 || v > maxMinutes {
			return bad("time")
		}
	}
	switch {
	case classOf(o.Load) < 0:
		return bad("load")
	case !finite(float64(o.LoadVoltage)) || o.LoadVoltage <= 0:
		return bad("load voltage")
	case o.Kind == Clean && o.PlannedMinutes <= 0:
		return bad("time")
	case o.Kind == Failed && (o.FailedTo <= 0 || o.FailedFrom > o.FailedTo || o.PlannedMinutes < o.FailedFrom):
		return bad("time to failure")
	case o.Kind != Clean && o.Kind != Failed:
		return bad("outcome")
	}
	return nil
}

// maxMinutes is the longest time that is believed: ten years.
const maxMinutes = 10 * 365.25 * 24 * 60

// reading is an observation made ready for the sums. Millivolts, minutes.
type reading struct {
	class  int
	d, dd  float64 // distance in ratio steps, and d|d|
	v      float64 // load voltage less what the temperature adds to the need
	failed bool
	exact  bool    // failed at t2 exactly
	t1, t2 float64 // clean: ran t2; failed: between t1 and t2
	odd    float64 // eps times the chance that an unrelated failure falls in here
}

// compare puts readings in one order, whatever order they came in.
func (r reading) compare(o reading) int {
	return cmp.Or(
		cmp.Compare(r.class, o.class), cmp.Compare(r.d, o.d), cmp.Compare(r.v, o.v),
		cmp.Compare(r.t2, o.t2), cmp.Compare(r.t1, o.t1), cmp.Compare(r.odd, o.odd),
	)
}

func (p *Prior) reading(o Observation) reading {
	r := reading{
		class: classOf(o.Load), v: o.LoadVoltage.Millivolts() - p.heat(o.CoreTemp),
		failed: o.Kind == Failed, t2: float64(o.PlannedMinutes),
	}
	r.d, r.dd = p.step(o.Ratio)
	if !r.failed {
		return r
	}
	r.t1, r.t2 = float64(o.FailedFrom), float64(o.FailedTo)
	r.exact = r.t1 == r.t2
	span := r.t2 - r.t1
	if r.exact {
		span = r.t2 // the density is taken per t2 as well
	}
	r.odd = p.Eps * math.Min(1, span/math.Max(float64(o.PlannedMinutes), r.t2))
	if o.AtOnce {
		r.odd = p.Eps
	}
	return r
}
