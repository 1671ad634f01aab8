package planner

import (
	"belay/internal/stability"
	"belay/internal/trial"
	"belay/internal/units"
)

// Further is what so many more minutes at a setting are expected to prove.
type Further struct {
	Minutes  units.Minutes
	Pass     float64 // chance that they run clean
	Now      float64 // confidence that the setting meets the target
	IfClean  float64 // the same after a clean run
	IfFailed float64 // the same after a failure
}

// FurtherRun returns what a run of so many minutes at the keep would prove, or
// nil where the evidence is too thin to say.
func FurtherRun(in Input, keep trial.Settings, load trial.Load, minutes units.Minutes) *Further {
	b := believe(in)
	if b.need == nil || keep.Ratio == 0 || keep.SetVoltage == 0 || b.need.Thin(load, b.under(keep, load)) {
		return nil
	}
	m, _ := b.middle(keep, load)
	ratio := b.under(keep, load)
	w, err := b.need.WorthOf(
		stability.Observation{Load: load, Ratio: ratio, LoadVoltage: m.volt, CoreTemp: m.temp, PlannedMinutes: minutes},
		stability.Keep{Load: load, Ratio: ratio, LoadVoltage: m.volt, CoreTemp: m.temp, TargetH: in.Tuning.careful(in.Wishes.TargetH)},
	)
	if err != nil {
		return nil
	}
	return &Further{Minutes: minutes, Pass: w.PassProbability, Now: w.Confidence, IfClean: w.IfClean, IfFailed: w.IfFailed}
}
