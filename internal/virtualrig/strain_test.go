package virtualrig

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
	"belay/internal/units"
)

func TestStrainIsWhatTheMetersScatterAround(t *testing.T) {
	for seed := range uint64(10) {
		r := plain(t, seed*30, Own)
		s := tuned(r, r.Machine().StockRatio, 1.30)
		x := r.Strain(s, trial.Scalar, 30)
		require.InDelta(t, float64(s.Ratio), x.Ratio, 1e-9)
		var volts, watts, temp float64
		const n = 200
		for i := range n {
			got := r.Run(i, s, trial.Scalar, 30)
			require.Equal(t, trial.Clean, got.Outcome)
			volts += float64(got.Readings.LoadVoltage) / n
			watts += float64(got.Readings.PackagePower) / n
			temp += float64(got.Readings.CoreTemp) / n
		}
		require.InDelta(t, volts-r.t.meter.offset, float64(x.LoadVoltage), 0.004) // half of the widest step is 6 mV
		require.InDelta(t, watts/r.t.meter.gain, float64(x.Power), 1)
		require.InDelta(t, temp, float64(x.CoreTemp), 0.3)
	}
}

func TestStrainFollowsTheClock(t *testing.T) {
	r := plain(t, 1, WarmUp)
	s := tuned(r, r.Machine().StockRatio, 1.25)
	settled := r.Strain(s, trial.Scalar, units.Minutes(math.Inf(1)))
	early := r.Strain(s, trial.Scalar, units.Minutes(r.t.cooling.tau))
	idle := r.Strain(s, trial.Scalar, 0)
	rise := settled.CoreTemp - idle.CoreTemp
	require.InDelta(t, 1-math.Exp(-1), float64((early.CoreTemp-idle.CoreTemp)/rise), 1e-9, "one time constant of a first-order rise")
	require.Zero(t, r.Strain(trial.Settings{SetVoltage: 0.6}, trial.Scalar, 10), "does not start")
	require.Zero(t, r.Strain(s, "laundry", 10))
	require.Zero(t, r.Strain(s, trial.Scalar, units.Minutes(math.NaN())))
	capped := s
	capped.SustainedLimit = 80
	require.Less(t, r.Strain(capped, trial.Scalar, 10).Ratio, float64(s.Ratio)-5)
}

// The worst mix has every trouble that the others have alone; its law is the
// heavy tail, which is worse than the Gaussian one.
func TestWorstIsAMixOfAll(t *testing.T) {
	for seed := range uint64(20) {
		x := mustNew(t, seed, Worst).t
		require.Equal(t, lawHeavy, x.core.law)
		require.Len(t, x.core.each, x.core.count)
		require.Positive(t, x.stray)
		require.GreaterOrEqual(t, math.Abs(x.meter.offset), 0.008)
		require.GreaterOrEqual(t, x.meter.wander, 0.004)
		require.True(t, x.warms && x.coarse)
		require.Greater(t, lawHeavy.hazard(8), lawExponential.hazard(8))
		require.Greater(t, lawExponential.hazard(8), lawNormal.hazard(8))
	}
}
