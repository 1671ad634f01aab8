package planner

import (
	"testing"

	"belay/internal/safety"
	"belay/internal/trial"
	"belay/internal/units"
)

// BenchmarkAssess is what one look at a session of forty trials costs.
func BenchmarkAssess(b *testing.B) {
	in := Input{
		Machine: trial.Machine{StockRatio: 47, BaseClock: 100, Cores: 10}, Limits: safety.Limits{TempLimit: 95},
		Settings: trial.Settings{Ratio: 49, SetVoltage: 1.28, VoltageMode: "static"}, Wishes: Wishes{TargetH: 500},
	}
	for i := range 40 {
		v := 1.18 + units.Volt(i%8)*0.01
		t := trial.Trial{
			N: i + 1, Stage: "core", Load: trial.Scalar, Settings: trial.Settings{Ratio: 49, SetVoltage: v + 0.03, VoltageMode: "static"},
			PlannedMinutes: 10, Outcome: trial.Clean, Minutes: 10, Readings: trial.Readings{LoadVoltage: v, CoreTemp: 75, PackagePower: 180},
		}
		if i == 0 {
			t.Stage = "baseline"
		}
		if v < 1.2 {
			t.Outcome, t.Minutes = trial.Error, 3
		}
		in.Trials = append(in.Trials, t)
	}
	for b.Loop() {
		Assess(in, in.Settings, trial.Scalar)
	}
}
