package virtualrig

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
	"belay/internal/units"
)

// Local slope of the voltage need: 20 to 60 mV per 100 MHz. Source: operating
// point tables of two embedded processors in public kernel device trees, local
// slopes 19.5 to 52.1 (docs/models/practice-rig.md); the upper end is chosen.
func TestSlopeOfNeedOverThePopulation(t *testing.T) {
	for _, v := range Variants() {
		least, most, rising := math.Inf(1), 0.0, 0
		const rigs = 400
		for seed := range uint64(rigs) {
			r := mustNew(t, seed, v)
			stock := r.Machine().StockRatio
			first, last := 0.0, 0.0
			for d := units.Ratio(0); d < 5; d++ {
				slope := (r.Need(trial.Scalar, stock+d+1, 75, 500) - r.Need(trial.Scalar, stock+d, 75, 500)).Millivolts()
				least, most = min(least, slope), max(most, slope)
				if last = slope; d == 0 {
					first = slope
				}
			}
			if last > first {
				rising++
			}
		}
		require.GreaterOrEqual(t, least, 19.9, v)
		require.LessOrEqual(t, most, 60.1, v)
		require.Less(t, least, 28.0, v)
		require.Greater(t, most, 50.0, v)
		require.Equal(t, rigs, rising, "the need is convex: %s", v)
	}
}

// The width of the hazard: one decade per 10 to 20 mV. Source: Das et al.,
// JSSC 2006 (10, from memory) and Salami et al., MICRO 2018 (19.96).
func TestDecadeOfHazardPerVolt(t *testing.T) {
	for seed := range uint64(200) {
		r := mustNew(t, seed, Own)
		decade := (r.Need(trial.Scalar, 50, 70, 100) - r.Need(trial.Scalar, 50, 70, 10)).Millivolts()
		require.True(t, decade > 9.89 && decade < 20.04, "%g", decade)
	}
}

// Under the own law the chance to pass t minutes at V0 + k decades is
// exp(-10^-k): complementary log-log, so it fails with probability 0.6321206,
// 0.0951626, 0.0099502 (computed with another program).
func TestOwnLawIsComplementaryLogLog(t *testing.T) {
	r := plain(t, 1, Own)
	need := float64(r.Need(trial.Scalar, 52, 70, 1.0/6))
	require.InDelta(t, r.t.core.needOf(0, scalar, 52, 70), need, 1e-9, "ten minutes on average at the need")
	decade := r.t.core.width * math.Ln10
	for k, want := range []float64{0.6321206, 0.0951626, 0.0099502} {
		h := r.t.core.hazard(scalar, 52, need+float64(k)*decade, 70)
		require.InDelta(t, want, 1-math.Exp(-h*10), 1e-6)
	}
}

func TestLawsMeetAtTheNeedAndFallInTheirOrder(t *testing.T) {
	for _, l := range []law{lawExponential, lawNormal, lawHeavy} {
		require.InDelta(t, hazardAtNeed, l.hazard(0), 1e-12)
		slope := math.Log(l.hazard(1e-4)/l.hazard(0)) / 1e-4
		require.InDelta(t, -1, slope, 1e-3)
		for u := -5.0; u < 30; u += 0.1 {
			require.Less(t, l.hazard(u+0.1), l.hazard(u))
		}
	}
	require.Less(t, lawNormal.hazard(8), lawExponential.hazard(8)/5)
	require.Greater(t, lawHeavy.hazard(8), lawExponential.hazard(8)*4)
}

// Time to failure under the own law is exponential with the stated hazard.
// Kolmogorov: the 0.1 % point of sqrt(n) D is 1.949 (published table, from memory).
func TestTimeToFailureIsExponential(t *testing.T) {
	for _, seed := range []uint64{1, 20, 40} {
		r := plain(t, seed, Own)
		ratio := r.Machine().StockRatio + 2
		s := tuned(r, ratio, r.Need(trial.Scalar, ratio, 70, 0.2))
		mean := r.TrueMTBF(s, trial.Scalar) * 60
		const n = 3000
		times := make([]float64, n)
		for i := range times {
			got := r.Run(i, s, trial.Scalar, 1e7)
			require.True(t, got.Outcome.Failed())
			times[i] = float64(got.Minutes)
		}
		slices.Sort(times)
		worst := 0.0
		for i, x := range times {
			cdf := 1 - math.Exp(-x/mean)
			worst = max(worst, math.Abs(cdf-float64(i)/n), math.Abs(cdf-float64(i+1)/n))
		}
		require.Less(t, worst*math.Sqrt(n), 1.949, "seed %d, mean %g min", seed, mean)
	}
}

func TestMoreVoltageFailsLess(t *testing.T) {
	for _, v := range Variants() {
		r := plain(t, 7, v)
		ratio := r.Machine().StockRatio + 2
		base := r.Need(trial.Scalar, ratio, 75, 1.0/6)
		share := func(extra units.Volt) float64 {
			failed := 0
			for n := range 400 {
				if r.Run(n, tuned(r, ratio, base+extra), trial.Scalar, 10).Outcome.Failed() {
					failed++
				}
			}
			return float64(failed) / 400
		}
		shares := []float64{share(-0.02), share(0.01), share(0.02), share(0.03), share(0.08)}
		for i := 1; i < len(shares); i++ {
			require.LessOrEqual(t, shares[i], shares[i-1], "%s %v", v, shares)
		}
		require.Greater(t, shares[0]-shares[4], 0.8, "%s %v", v, shares)
	}
}

// From 5.2 GHz at 1.26 V to 5.3 GHz at 1.35 V dynamic power grows by about
// 1.17, and from 4.5 GHz at 1.2 V to 5.0 GHz at 1.3 V by 1.3040123 (V² f).
func TestDynamicPower(t *testing.T) {
	h := mustNew(t, 1, Own).t.heat
	require.InDelta(t, 1.17, h.dynamicW(scalar, 1.35, 53)/h.dynamicW(scalar, 1.26, 52), 0.002)
	require.InDelta(t, 1.3040123457, h.dynamicW(scalar, 1.3, 50)/h.dynamicW(scalar, 1.2, 45), 1e-9)
}

// Common practice, no source: a ten-core part goes from about 4.2 GHz under a
// cap of 125 W to about 4.9 GHz without, and draws near 330 W at the top.
func TestPowerOfTheTenCoreRigs(t *testing.T) {
	var capped, gain, top []float64
	for seed := range uint64(400) {
		r := mustNew(t, seed, Own)
		if r.t.core.count != 10 || r.quirks.throttles || r.quirks.unstable || r.quirks.hotUncapped || r.quirks.capLifted {
			continue
		}
		u, _ := r.t.accept(trial.Settings{})
		slow := r.t.settle(scalar, u).settled
		u.limit = unlimited
		fast := r.t.settle(scalar, u).settled
		require.InDelta(t, 125, slow.watts, 0.5)
		capped = append(capped, slow.ratio)
		gain = append(gain, fast.ratio-slow.ratio)
		top = append(top, r.t.heat.watts(scalar, 1.35, 53, 90))
	}
	slices.Sort(capped)
	slices.Sort(gain)
	slices.Sort(top)
	require.InDelta(t, 42, capped[len(capped)/2], 1.5)
	require.InDelta(t, 7, gain[len(gain)/2], 2)
	require.InDelta(t, 300, top[len(top)/2], 25)
	require.InDelta(t, 350, top[len(top)-1], 25)
}

// Common practice, no source: two samples needed 1.225 and 1.26 V under load at 5.2 GHz.
func TestNeedAt5200(t *testing.T) {
	var needs []float64
	for seed := range uint64(1000) {
		r := mustNew(t, seed, Own)
		if r.Machine().StockRatio == 49 {
			needs = append(needs, float64(r.Need(trial.Scalar, 52, 75, 500)))
		}
	}
	slices.Sort(needs)
	n := len(needs)
	require.Less(t, needs[n/5], 1.245)
	require.InDelta(t, 1.2425, needs[n/2], 0.03)
	require.Greater(t, needs[n*4/5], 1.26)
}

// Guardband of delivered settings. Source: Papadimitriou et al., survey 2020
// (12 % on average) and IOLTS 2017 (more than 15 % on two parts).
func TestGuardbandAsDelivered(t *testing.T) {
	var share []float64
	for seed := range uint64(500) {
		r := mustNew(t, seed, Own)
		if r.quirks.unstable || r.quirks.throttles {
			continue
		}
		u, _ := r.t.accept(trial.Settings{SustainedLimit: unlimited})
		s := r.t.settle(scalar, u).settled
		share = append(share, 1-r.t.core.needOf(0, scalar, s.ratio, s.temp)/s.volts)
	}
	slices.Sort(share)
	require.Greater(t, share[0], 0.06)
	require.InDelta(t, 0.125, share[len(share)/2], 0.02)
	require.Less(t, share[len(share)-1], 0.20)
}

func TestAutomaticVoltageStopsRising(t *testing.T) {
	r := plain(t, 1, Own)
	m := r.Machine()
	one := r.Run(1, trial.Settings{Ratio: m.StockRatio + 1, SustainedLimit: unlimited}, trial.Bursty, 1).Readings.LoadVoltage
	require.Greater(t, one, r.Run(1, trial.Settings{SustainedLimit: unlimited}, trial.Bursty, 1).Readings.LoadVoltage)
	u, _ := r.t.accept(trial.Settings{Ratio: m.StockRatio + 12})
	require.InDelta(t, r.t.supply.auto+0.08, u.voltage(&r.t.supply, u.ratio), 1e-12)
	require.Equal(t, trial.NoBoot, r.Run(1, trial.Settings{Ratio: m.StockRatio + 12}, trial.Scalar, 10).Outcome)
}

func TestHeatAndLoadLineSettleTogether(t *testing.T) {
	r := plain(t, 3, Own)
	for _, load := range []int{scalar, wide, bursty} {
		for _, set := range []units.Volt{1.1, 1.25, 1.35} {
			s := tuned(r, r.Machine().StockRatio, set)
			s.LoadLine = r.t.supply.levels[0].name
			u, ok := r.t.accept(s)
			require.True(t, ok)
			st := r.t.balance(load, u, u.ratio, r.t.cooling)
			require.InDelta(t, float64(set)-u.ohm*st.watts/st.volts, st.volts, 1e-5)
			require.InDelta(t, r.t.cooling.air+r.t.cooling.rth*st.watts, st.temp, 1e-2)
			require.InDelta(t, r.t.heat.watts(load, st.volts, u.ratio, st.temp), st.watts, 1e-2)
		}
	}
}

func TestWideVectorsNeedMoreAndTheOffsetHelps(t *testing.T) {
	enough := 0
	const rigs = 300
	for seed := range uint64(rigs) {
		r := mustNew(t, seed, Own)
		ratio := r.Machine().StockRatio + 3
		scalarNeed := r.Need(trial.Scalar, ratio, 75, 500)
		require.Greater(t, r.Need(trial.WideVector, ratio, 75, 500), scalarNeed)
		if r.Need(trial.WideVector, ratio-1, 75, 500) <= scalarNeed {
			enough++
		}
	}
	// Common practice, no source: an offset of one ratio step often suffices.
	require.Greater(t, enough, rigs/2)

	r := plain(t, 3, Own)
	s := tuned(r, r.Machine().StockRatio+2, 1.25)
	less := s
	less.WideVectorOffset = 2
	a, b := r.Run(1, s, trial.WideVector, 10), r.Run(1, less, trial.WideVector, 10)
	require.InDelta(t, 200, float64(a.Readings.Clock-b.Readings.Clock), 20)
	require.Greater(t, a.Readings.PackagePower, b.Readings.PackagePower)
	require.Greater(t, r.TrueMTBF(less, trial.WideVector), r.TrueMTBF(s, trial.WideVector))
	require.Equal(t, r.TrueMTBF(less, trial.Scalar), r.TrueMTBF(s, trial.Scalar))
}

func TestShortTrialsReadCooler(t *testing.T) {
	gap := func(v Variant) float64 {
		sum := 0.0
		for seed := range uint64(60) {
			r := plain(t, seed*40, v)
			sum += float64(r.Run(1, trial.Settings{}, trial.Scalar, 120).Readings.CoreTemp - r.Run(1, trial.Settings{}, trial.Scalar, 3).Readings.CoreTemp)
		}
		return sum / 60
	}
	require.Less(t, gap(Own), 4.0)
	require.Greater(t, gap(WarmUp), 7.0)
}

// A rig that warms up and needs more when hot fails less in its first minutes.
func TestWarmUpHidesEarlyFailures(t *testing.T) {
	r := plain(t, 3, WarmUp)
	ratio := r.Machine().StockRatio + 3
	s := tuned(r, ratio, r.Need(trial.Scalar, ratio, 80, 0.5))
	settled := 1 / (60 * r.TrueMTBF(s, trial.Scalar))
	failed := 0
	for n := range 2000 {
		if r.Run(n, s, trial.Scalar, 3).Outcome.Failed() {
			failed++
		}
	}
	require.Less(t, float64(failed)/2000, 0.8*(1-math.Exp(-3*settled)))
	require.Positive(t, failed)
}

func TestMeterDriftIsInTheReadingOnly(t *testing.T) {
	spread := func(v Variant) (worst float64) {
		for seed := range uint64(100) {
			r := plain(t, seed*20, v)
			s := tuned(r, r.Machine().StockRatio, 1.3)
			u, _ := r.t.accept(s)
			mean := 0.0
			for n := range 40 {
				mean += float64(r.Run(n, s, trial.Scalar, 10).Readings.LoadVoltage) / 40
			}
			worst = max(worst, math.Abs(mean-r.t.settle(scalar, u).settled.volts))
		}
		return worst
	}
	require.Less(t, spread(Own), 0.012)
	require.Greater(t, spread(MeterDrift), 0.016)
	r := plain(t, 5, MeterDrift)
	r.t.meter.noise, r.t.meter.step = 0, 0.0001
	low, high := math.Inf(1), 0.0
	for n := range 80 {
		v := float64(r.Run(n, tuned(r, r.Machine().StockRatio, 1.3), trial.Scalar, 10).Readings.LoadVoltage)
		low, high = min(low, v), max(high, v)
	}
	require.InDelta(t, 2*r.t.meter.wander, high-low, 0.002, "it wanders from trial to trial")
	a, b := plain(t, 5, Own), plain(t, 5, MeterDrift)
	require.Equal(t, a.Need(trial.Scalar, 52, 75, 500), b.Need(trial.Scalar, 52, 75, 500))
}

func TestCoarseTimes(t *testing.T) {
	r := plain(t, 3, CoarseTimes)
	ratio := r.Machine().StockRatio + 3
	s := tuned(r, ratio, r.Need(trial.Scalar, ratio, 80, 0.2))
	unknown, known := 0, 0
	for n := range 300 {
		got := r.Run(n, s, trial.Scalar, 30)
		if !got.Outcome.Failed() {
			require.False(t, got.TimeUnknown)
			continue
		}
		if got.TimeUnknown {
			unknown++
			require.Zero(t, got.Minutes)
			continue
		}
		known++
		require.Equal(t, math.Trunc(float64(got.Minutes)), float64(got.Minutes))
		require.Positive(t, got.Minutes)
	}
	require.Greater(t, unknown, 50)
	require.Greater(t, known, 50)
}

func TestBackgroundFailuresDoNotMindVoltage(t *testing.T) {
	r := plain(t, 3, Background)
	share := func(set units.Volt) float64 {
		resets := 0
		for n := range 500 {
			if r.Run(n, tuned(r, r.Machine().StockRatio, set), trial.Scalar, 600).Outcome == trial.Reset {
				resets++
			}
		}
		return float64(resets) / 500
	}
	want := 1 - math.Exp(-600*r.t.stray)
	require.InDelta(t, want, share(1.28), 0.06)
	require.InDelta(t, want, share(1.32), 0.06)
}

func TestDeeperFailuresAreHarder(t *testing.T) {
	r := plain(t, 3, Own)
	ratio := r.Machine().StockRatio + 2
	need := r.Need(trial.Scalar, ratio, 70, 1.0/6)
	count := func(below units.Volt) map[trial.Outcome]int {
		seen := map[trial.Outcome]int{}
		for n := range 300 {
			seen[r.Run(n, tuned(r, ratio, need-below), trial.Scalar, 30).Outcome]++
		}
		return seen
	}
	near, far, dead := count(-0.015), count(0.045), count(0.13)
	require.Greater(t, near[trial.Error], near[trial.Froze]+near[trial.Reset])
	require.Greater(t, far[trial.Froze]+far[trial.Reset], 5*far[trial.Error])
	require.Equal(t, 300, dead[trial.NoBoot])
}

// Common practice, no source: 8 % more clock gave about 6.5 % in rendering.
func TestScoreFollowsTheClock(t *testing.T) {
	for seed := range uint64(50) {
		r := plain(t, seed*20, Own)
		u, _ := r.t.accept(trial.Settings{SustainedLimit: unlimited})
		base := r.t.trueScore(scalar, u, state{ratio: u.ratio})
		u.ratio *= 1.08
		require.InDelta(t, 1.065, r.t.trueScore(scalar, u, state{ratio: u.ratio})/base, 0.008)
		got := r.Run(1, trial.Settings{}, trial.Scalar, 10).Readings
		require.Len(t, got.Scores, 3)
		require.Equal(t, slices.Sorted(slices.Values(got.Scores))[1], got.Score)
	}
}
