package contest

import (
	"math"
	"slices"

	"belay/internal/planner"
	"belay/internal/safety"
	"belay/internal/trial"
	"belay/internal/units"
	"belay/internal/virtualrig"
)

// What a trial costs beside its own minutes. Common practice, no source: a
// restart into the firmware setup and back, and a restart after a crash.
const (
	changeMinutes = 5.0 // per trial at settings other than those of the trial before
	crashMinutes  = 8.0
)

// stage is the stage of the guide that the contest is about.
const stage = "core"

// entry is one rig, measured and ready for the search.
type entry struct {
	rig   *virtualrig.Rig
	start planner.Input
	base  trial.Settings // what every strategy varies ratio and voltage of
	best  best

	untimed bool
}

func newEntry(o Options, seed uint64) *entry {
	rig, err := virtualrig.New(seed, o.Variant)
	if err != nil {
		panic("the population was drawn with this variant: " + err.Error())
	}
	e := &entry{rig: rig, start: opening(rig, o), untimed: o.untimed}
	e.start.Search, e.start.Stage = stage, stage
	e.start.Tuning = o.tuning
	e.base = e.start.Endings["voltage-mode"].Keep
	if e.base.SetVoltage == 0 { // the static voltage did not hold; begin where the PC is
		e.base = e.start.Settings
	}
	e.best = oracle(rig, e.base, e.start.Limits, o.TargetH)
	return e
}

// bout is one strategy at work on one rig. It keeps the evidence and counts
// the costs.
type bout struct {
	*entry
	in planner.Input
	score
	vet func(trial.Settings, trial.Load) []safety.Veto // by the evidence so far; nil: to be made anew
}

// verdict is what a strategy ends with.
type verdict struct {
	keep       trial.Settings
	confidence *float64 // that the target is met, as the strategy states it; nil: it states none
}

// bout begins anew.
func (e *entry) bout() *bout {
	b := &bout{entry: e, in: e.start}
	b.in.Trials = slices.Clip(b.in.Trials)
	b.overLimit = math.Inf(-1)
	return b
}

func (e *entry) play(s strategy) score {
	b := e.bout()
	b.judge(s.find(b))
	return b.score
}

// run makes one trial and counts what it costs.
func (b *bout) run(s trial.Settings, load trial.Load, minutes units.Minutes) trial.Trial {
	t := report(b.rig, len(b.in.Trials)+1, b.in.Stage, s, load, minutes)
	spent := float64(t.Minutes)
	if t.TimeUnknown { // the true time is not on record; half of the plan stands for it
		spent = float64(minutes) / 2
	}
	if s != b.in.Settings {
		spent += changeMinutes
	}
	if t.Outcome.Crash() {
		spent += crashMinutes
		b.crashes++
	}
	b.trials++
	b.hours += spent / 60
	x := b.rig.Strain(s, load, t.Minutes)
	b.loadVoltage = max(b.loadVoltage, float64(x.LoadVoltage))
	b.overLimit = max(b.overLimit, float64(x.CoreTemp-b.in.Limits.TempLimit))
	if b.untimed && t.Outcome.Failed() {
		t.Minutes, t.TimeUnknown = 0, true
	}
	b.vet = nil
	b.in.Settings = s
	b.in.Trials = append(b.in.Trials, t)
	return t
}

// vetoes are the limits that the settings would pass.
func (b *bout) vetoes(s trial.Settings, load trial.Load) []safety.Veto {
	if b.vet == nil {
		b.vet = planner.Vetter(b.in)
	}
	return b.vet(s, load)
}

// score is what one strategy did on one rig.
type score struct {
	hours       float64
	trials      int
	crashes     int
	loadVoltage float64 // V, highest true load voltage of any trial
	overLimit   float64 // °C, highest true core temperature of any trial, above the limit
	met         bool    // the kept setting truly meets the target
	ratioLost   float64 // true mean ratio below the oracle's, >= 0
	overOracle  float64 // mV, true load voltage above the least that meets the target at this ratio
	confidence  *float64
}

func (b *bout) judge(v verdict) {
	kept := b.rig.Strain(v.keep, trial.Scalar, units.Minutes(math.Inf(1)))
	b.confidence = v.confidence
	b.met = b.rig.TrueMTBF(v.keep, trial.Scalar) >= b.in.Wishes.TargetH
	b.ratioLost = max(0, b.best.ratio-kept.Ratio)
	least := leastVoltage(b.rig, v.keep, b.in.Wishes.TargetH)
	b.overOracle = 1000 * float64(kept.LoadVoltage-least)
}
