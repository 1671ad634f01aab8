package virtualrig

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
	"belay/internal/units"
)

func TestNeedMeetsItsTarget(t *testing.T) {
	for _, v := range Variants() {
		for seed := range uint64(40) {
			r := mustNew(t, seed, v)
			i, _ := loadIndex(trial.Mixed)
			ratio := r.Machine().StockRatio + 2
			need := r.Need(trial.Mixed, ratio, 78, 500)
			h := r.t.core.hazard(i, float64(ratio), float64(need), 78)
			require.InEpsilon(t, 500, 1/(60*h), 1e-4)
			require.Greater(t, r.Need(trial.Mixed, ratio+1, 78, 500), need)
			require.Greater(t, r.Need(trial.Mixed, ratio, 78, 5000), need)
		}
	}
}

func TestOracle(t *testing.T) {
	found := 0
	for _, v := range Variants() {
		for seed := range uint64(60) {
			r := mustNew(t, seed, v)
			b := Bounds{Ceiling: 1.35, TempLimit: r.Machine().TempLimit, TargetHours: 500, Loads: []trial.Load{trial.Scalar, trial.Mixed}}
			best, ok := r.Oracle(b)
			require.True(t, ok)
			require.LessOrEqual(t, best.LoadVoltage, b.Ceiling)
			require.LessOrEqual(t, best.Temp, b.TempLimit)
			_, next := r.holds(best.Ratio+1, b)
			require.False(t, next, "one ratio more must break a bound")
			found += int(best.Ratio - r.Machine().StockRatio)

			// Set on a level with next to no droop, the best meets the target and no less would do.
			x := *r
			x.t.supply.levels = []level{{"1", 0}}
			x.t.supply.standard = 0
			for _, load := range b.Loads {
				require.Greater(t, x.TrueMTBF(tuned(&x, best.Ratio, best.LoadVoltage), load), 490.0)
			}
			less := tuned(&x, best.Ratio, best.LoadVoltage-0.010)
			require.Less(t, min(x.TrueMTBF(less, trial.Scalar), x.TrueMTBF(less, trial.Mixed)), 400.0)
		}
	}
	require.Greater(t, float64(found)/float64(60*len(Variants())), 2.0, "most rigs have room above stock")
}

func TestOracleBounds(t *testing.T) {
	r := plain(t, 1, Own)
	wide := Bounds{Ceiling: 1.35, TempLimit: 100, TargetHours: 500, Loads: []trial.Load{trial.Scalar}}
	best, ok := r.Oracle(wide)
	require.True(t, ok)
	lower := wide
	lower.PowerLimit = best.Power - 30
	capped, ok := r.Oracle(lower)
	require.True(t, ok)
	require.Less(t, capped.Ratio, best.Ratio)
	require.LessOrEqual(t, capped.Power, lower.PowerLimit)
	for name, b := range map[string]Bounds{
		"no loads":     {Ceiling: 1.35, TempLimit: 100, TargetHours: 500},
		"unknown load": {Ceiling: 1.35, TempLimit: 100, TargetHours: 500, Loads: []trial.Load{"nap"}},
		"no target":    {Ceiling: 1.35, TempLimit: 100, Loads: wide.Loads},
		"room too hot": {Ceiling: 1.35, TempLimit: r.AirTemp(), TargetHours: 500, Loads: wide.Loads},
		"no ceiling":   {TempLimit: 100, TargetHours: 500, Loads: wide.Loads},
	} {
		_, ok := r.Oracle(b)
		require.False(t, ok, name)
	}
}

// The share of failed trials agrees with the truth that judges them.
func TestTrueMTBFAgreesWithRun(t *testing.T) {
	for _, v := range []Variant{Own, Gaussian, HeavyTail, PerCore} {
		r := plain(t, 9, v)
		ratio := r.Machine().StockRatio + 3
		s := tuned(r, ratio, r.Need(trial.Scalar, ratio, 80, 1))
		mtbf := r.TrueMTBF(s, trial.Scalar)
		total, failures := 0.0, 0
		for n := range 2000 {
			got := r.Run(n, s, trial.Scalar, 60)
			total += float64(got.Minutes) / 60
			if got.Outcome.Failed() {
				failures++
			}
		}
		require.InEpsilon(t, mtbf, total/float64(failures), 0.12, v)
	}
	require.Greater(t, mustNew(t, 1, Background).TrueMTBF(trial.Settings{}, trial.Scalar), 2000.0, "stray resets are left out")
	require.Zero(t, plain(t, 1, Own).TrueMTBF(trial.Settings{SetVoltage: units.Volt(0.7)}, trial.Scalar))
}
