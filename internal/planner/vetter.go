package planner

import (
	"belay/internal/safety"
	"belay/internal/trial"
)

// Vetter returns what forbids a setting under a load, by the limits and the
// evidence of in. It learns from heat and load line alone, so that a search
// which is not the planner's own can be held to the same limits.
func Vetter(in Input) func(trial.Settings, trial.Load) []safety.Veto {
	b := newBelief(in)
	b.fitLine(in)
	b.fitHeat(in)
	b.readStock(in.Trials)
	return (&search{Input: in, belief: b}).vet
}
