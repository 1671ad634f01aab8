package planner

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/safety"
	"belay/internal/trial"
	"belay/internal/units"
)

// TestOddFailure lets one run fail among many clean ones, some at less
// voltage: voltage does not explain it. A failure far below the need is none.
func TestOddFailure(t *testing.T) {
	run := func(n int, v units.Volt, o trial.Outcome, minutes units.Minutes) trial.Trial {
		return trial.Trial{
			N: n, Stage: "core", Load: trial.Scalar, Settings: trial.Settings{Ratio: 49, SetVoltage: v + 0.03, VoltageMode: "static"},
			PlannedMinutes: 30, Outcome: o, Minutes: minutes, Readings: trial.Readings{LoadVoltage: v, CoreTemp: 75, PackagePower: 180},
		}
	}
	base := trial.Trial{
		N: 1, Stage: "baseline", Load: trial.Scalar, PlannedMinutes: 10, Outcome: trial.Clean, Minutes: 10,
		Readings: trial.Readings{LoadVoltage: 1.2, CoreTemp: 70, PackagePower: 150, Clock: 4700},
	}
	in := Input{
		Machine: trial.Machine{StockRatio: 47, BaseClock: 100, Cores: 10}, Limits: safety.Limits{TempLimit: 95},
		Settings: trial.Settings{Ratio: 49, SetVoltage: 1.28, VoltageMode: "static"}, Wishes: Wishes{TargetH: 500},
		Trials: []trial.Trial{
			base, run(2, 1.13, trial.Error, 0.5), run(3, 1.22, trial.Clean, 30), run(4, 1.23, trial.Clean, 30), run(5, 1.25, trial.Reset, 20),
			run(6, 1.25, trial.Clean, 30), run(7, 1.24, trial.Clean, 30), run(8, 1.23, trial.Clean, 30),
		},
	}
	got := Stand(in, in.Settings)
	require.Len(t, got.Odd, 1)
	require.Equal(t, 5, got.Odd[0].Trial)
	require.Greater(t, got.Odd[0].Chance, 0.5)
	require.NotNil(t, got.Present)
	require.NotNil(t, got.Last)
	require.Equal(t, 8, got.Last.Trial)
	require.Less(t, got.Last.After.Q95-got.Last.After.Q05, got.Last.Before.Q95-got.Last.Before.Q05)
	in.Trials = in.Trials[:2]
	require.Empty(t, Stand(in, in.Settings).Odd)
}
