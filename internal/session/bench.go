package session

import (
	"slices"

	"belay/internal/planner"
	"belay/internal/trial"
	"belay/internal/units"
)

// TrialLimit is the temperature at which a load has to be stopped: the
// processor's own limit less a margin.
func (s *State) TrialLimit() units.Celsius { return s.graph.Platform.Limits.For(s.Machine).TempLimit }

// TempLimit is the processor's own limit.
func (s *State) TempLimit() units.Celsius {
	return s.TrialLimit() + s.graph.Platform.Limits.TempMargin
}

// SetClock is the clock that the present settings ask for under all-core
// load, or 0 when it is not known.
func (s *State) SetClock() units.Megahertz {
	ratio := s.Settings.Ratio
	if ratio == 0 {
		ratio = s.Machine.StockRatio
	}
	base := s.Machine.BaseClock
	if base == 0 {
		base = planner.UsualBaseClock
	}
	return units.Megahertz(float64(ratio) * float64(base))
}

// MemoryChanged reports whether the settings in the firmware differ in memory
// settings from those of the trial before.
func (s *State) MemoryChanged() bool {
	before := trial.Settings{}
	if t := s.newestTrial(); t != nil {
		before = t.Settings
	}
	memory := []string{"memory_profile", "data_rate_mts", "cl", "trcd", "trp", "tras", "dram_voltage_v"}
	return slices.ContainsFunc(trial.Diff(before, s.Settings), func(name string) bool { return slices.Contains(memory, name) })
}
