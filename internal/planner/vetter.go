package planner

import (
	"belay/internal/safety"
	"belay/internal/trial"
)

// Vetter returns what forbids a setting under a load, by the limits and the
// evidence of in. It learns from heat and load line alone, so that a search
// which is not the planner's own can be held to the same limits.
func Vetter(in Input) func(trial.Settings, trial.Load) []safety.Veto {
	b := &belief{base: in.Machine.BaseClock, limits: in.Limits.TempLimit, ratio: in.Machine.StockRatio, stock: stockVoltage(in.Trials)}
	if b.base == 0 {
		b.base = UsualBaseClock
	}
	b.fitLine(in)
	b.fitHeat(in)
	return (&search{Input: in, belief: b}).vet
}
