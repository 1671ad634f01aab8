package virtualrig

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
	"belay/internal/units"
)

// with returns the next rigs that have the trait and no other.
func with(t testing.TB, trait string, v Variant, count int) []*Rig {
	t.Helper()
	var rigs []*Rig
	for from := uint64(0); len(rigs) < count; {
		seed, ok := SeedWith(trait, v, from)
		require.True(t, ok)
		if r := mustNew(t, seed, v); len(r.Traits()) == 1 {
			rigs = append(rigs, r)
		}
		from = seed + 1
	}
	return rigs
}

func TestEveryTraitIsReachable(t *testing.T) {
	for _, v := range Variants() {
		for _, trait := range AllTraits() {
			seed, ok := SeedWith(trait, v, 0)
			require.True(t, ok, trait)
			require.Less(t, seed, uint64(2000), trait)
			require.Contains(t, mustNew(t, seed, v).Traits(), trait)
			next, ok := SeedWith(trait, v, seed+1)
			require.True(t, ok)
			require.Greater(t, next, seed)
		}
	}
	_, ok := SeedWith("purrs", Own, 0)
	require.False(t, ok)
}

func TestSharesOfTraits(t *testing.T) {
	count := map[string]int{}
	const rigs = 5000
	for seed := range uint64(rigs) {
		for _, trait := range drawQuirks(seed, Own).list() {
			count[trait]++
		}
	}
	require.InDelta(t, 0.10, float64(count[TraitProfileNoBoot]+count[TraitProfileErrors])/rigs, 0.015)
	for _, trait := range AllTraits() {
		require.Less(t, float64(count[trait])/rigs, 0.25, trait)
	}
}

// Without a trait that says otherwise, delivered settings are sound: a day of
// any load passes, on every variant.
func TestDeliveredSettingsAreSound(t *testing.T) {
	for _, v := range Variants() {
		failed, runs := 0, 0
		for seed := range uint64(300) {
			r := mustNew(t, seed, v)
			if r.quirks.throttles || r.quirks.unstable {
				continue
			}
			for _, load := range trial.Loads {
				require.Greater(t, r.TrueMTBF(trial.Settings{}, load), 2000.0, "%s %d %s", v, seed, load)
				got := r.Run(int(seed), trial.Settings{}, load, 24*60)
				require.False(t, got.Outcome.Hot(), "%s %d %s", v, seed, load)
				if runs++; got.Outcome != trial.Clean && !r.quirks.background {
					failed++
				}
			}
		}
		require.LessOrEqual(t, float64(failed), 0.002*float64(runs), v)
	}
}

func TestThrottlesAsDelivered(t *testing.T) {
	for _, r := range with(t, TraitThrottles, Own, 20) {
		got := r.Run(1, trial.Settings{}, trial.Scalar, 30)
		require.True(t, got.Outcome.Hot(), got.Outcome)
		require.InDelta(t, float64(r.Machine().TempLimit), float64(got.Readings.CoreTemp), 2.5)
	}
}

func TestUnstableAsDelivered(t *testing.T) {
	for _, v := range []Variant{Own, Worst} {
		failed := 0
		seed, ok := uint64(0), false
		for i := range 40 {
			seed, ok = SeedWith(TraitUnstable, v, seed+1)
			require.True(t, ok)
			if mustNew(t, seed, v).Run(i, trial.Settings{}, trial.Scalar, 30).Outcome.Failed() {
				failed++
			}
		}
		require.Greater(t, failed, 28, v)
	}
}

func TestProfileTraits(t *testing.T) {
	on := trial.Settings{MemoryProfile: "on"}
	lower := func(r *Rig) trial.Settings {
		step := map[string]int{"ddr4": 133, "ddr5": 200}[r.Machine().MemoryStandard]
		return trial.Settings{MemoryProfile: "on", DataRate: r.Machine().KitRate - step}
	}
	for _, r := range with(t, TraitProfileNoBoot, Own, 30) {
		require.Equal(t, trial.NoBoot, r.Run(1, on, trial.Memory, 60).Outcome)
		require.Equal(t, trial.Clean, r.Run(1, lower(r), trial.Memory, 240).Outcome)
		require.Greater(t, r.TrueMTBF(lower(r), trial.Memory), 500.0)
	}
	failed := 0
	for _, r := range with(t, TraitProfileErrors, Own, 30) {
		if got := r.Run(1, on, trial.Memory, 60); got.Outcome.Failed() {
			failed++
			require.NotEqual(t, trial.NoBoot, got.Outcome)
			if got.Outcome == trial.Error {
				require.Positive(t, got.Readings.ErrorsFound)
			}
		}
		require.Greater(t, r.TrueMTBF(lower(r), trial.Memory), 500.0)
	}
	require.Greater(t, failed, 24)
	for _, r := range with(t, TraitProfileIgnored, Own, 10) {
		require.Less(t, r.Run(1, on, trial.Memory, 10).Readings.DataRate, r.Machine().KitRate)
		byHand := trial.Settings{MemoryProfile: "on", DataRate: r.Machine().KitRate}
		require.Equal(t, r.Machine().KitRate, r.Run(1, byHand, trial.Memory, 10).Readings.DataRate)
		require.Equal(t, r.Machine().KitCL, r.t.dram.resolve(byHand).cl)
	}
	r := plain(t, 1, Own)
	require.Equal(t, r.Machine().KitRate, r.Run(1, on, trial.Memory, 10).Readings.DataRate)
	rated := r.t.dram.kit.rated
	for rate := rated.rate - 900; rate < rated.rate+900; rate += 33 { // the firmware never tightens by itself
		got := r.t.dram.resolve(trial.Settings{MemoryProfile: "on", DataRate: rate})
		require.GreaterOrEqual(t, got.ns(got.cl), rated.ns(rated.cl)-1e-9)
		require.Less(t, got.ns(got.cl-1), rated.ns(rated.cl))
	}
}

func TestMemoryLimits(t *testing.T) {
	faster := func(r *Rig, volt units.Volt) trial.Settings {
		step := map[string]int{"ddr4": 133, "ddr5": 200}[r.Machine().MemoryStandard]
		return trial.Settings{MemoryProfile: "on", DataRate: r.Machine().KitRate + step, DRAMVoltage: volt}
	}
	tighter := func(r *Rig, volt units.Volt) trial.Settings {
		return trial.Settings{MemoryProfile: "on", CL: r.Machine().KitCL - 1, DRAMVoltage: volt}
	}
	for _, r := range with(t, TraitNoHeadroom, Own, 20) {
		require.Equal(t, trial.Clean, r.Run(1, trial.Settings{MemoryProfile: "on"}, trial.Memory, 600).Outcome)
		for _, volt := range []units.Volt{0, r.Machine().KitVoltage + 0.1} {
			require.Less(t, r.TrueMTBF(faster(r, volt), trial.Memory), 24.0)
			require.Less(t, r.TrueMTBF(tighter(r, volt), trial.Memory), 24.0)
		}
	}
	holds, helped := 0, 0
	const rigs = 100
	for seed := range uint64(rigs) {
		r := plain(t, seed*15, Own)
		before := r.TrueMTBF(faster(r, 0), trial.Memory)
		after := r.TrueMTBF(faster(r, r.Machine().KitVoltage+0.1), trial.Memory)
		require.GreaterOrEqual(t, after, before)
		if before > 500 {
			holds++
		} else if after > 500 {
			helped++
		}
		dead := trial.Settings{MemoryProfile: "on", CL: r.Machine().KitCL / 2}
		require.Equal(t, trial.NoBoot, r.Run(1, dead, trial.Memory, 10).Outcome)
	}
	require.Greater(t, holds, rigs/4)
	require.Less(t, holds, rigs*3/4)
	require.Greater(t, helped, rigs/10)
}

func TestMemoryCoverageAndErrorsGrow(t *testing.T) {
	r := plain(t, 1, Own)
	on := trial.Settings{MemoryProfile: "on"}
	a, b := r.Run(1, on, trial.Memory, 10), r.Run(1, on, trial.Memory, 20)
	require.InDelta(t, 2, b.Readings.CoverageGB/a.Readings.CoverageGB, 0.01)
	require.Zero(t, r.Run(1, on, trial.Scalar, 10).Readings.CoverageGB)

	mean := func(past float64) float64 { // mean errors found, past the rate limit by a share
		x := *r
		x.t.dram.rate.at = float64(r.Machine().KitRate) * (1 - past)
		sum, count := 0, 0
		for n := range 400 {
			if got := x.Run(n, on, trial.Memory, 60); got.Outcome == trial.Error {
				sum, count = sum+got.Readings.ErrorsFound, count+1
			}
		}
		require.Greater(t, count, 100)
		return float64(sum) / float64(count)
	}
	near, far := mean(0.001), mean(0.010)
	require.GreaterOrEqual(t, near, 1.0)
	require.Greater(t, far, 20*near)
}

func TestPowerLimitTraits(t *testing.T) {
	for _, r := range with(t, TraitCapLifted, Own, 20) {
		require.EqualValues(t, unlimited, r.Machine().SustainedLimit)
		got := r.Run(1, trial.Settings{}, trial.Scalar, 30)
		require.InDelta(t, float64(r.Machine().StockRatio)*100, float64(got.Readings.Clock), 15)
		limited := r.Run(1, trial.Settings{SustainedLimit: 100}, trial.Scalar, 30)
		require.InDelta(t, 100, float64(limited.Readings.PackagePower), 8)
		require.Less(t, limited.Readings.Clock, got.Readings.Clock-200)
	}
	first := plain(t, 1, Own)
	require.InDelta(t, 90, float64(first.Run(1, trial.Settings{ShortLimit: 90, SustainedLimit: unlimited}, trial.Scalar, 30).Readings.PackagePower), 6)
	for _, r := range with(t, TraitHotUncapped, Own, 20) {
		require.Equal(t, trial.Clean, r.Run(1, trial.Settings{}, trial.Scalar, 30).Outcome)
		got := r.Run(1, trial.Settings{SustainedLimit: unlimited}, trial.Scalar, 30)
		require.True(t, got.Outcome.Hot())
		short := r.Run(1, trial.Settings{SustainedLimit: unlimited}, trial.Scalar, 0.3)
		require.Equal(t, trial.Clean, short.Outcome, "too short to reach its temperature")
	}
	cool := plain(t, 1, Own)
	require.Equal(t, trial.Clean, cool.Run(1, trial.Settings{SustainedLimit: unlimited}, trial.Scalar, 30).Outcome)
	furnace := cool.Run(1, tuned(cool, cool.Machine().StockRatio, 1.75), trial.Scalar, 30)
	require.Equal(t, trial.TooHot, furnace.Outcome)
	require.Less(t, furnace.Minutes, units.Minutes(5))
}

func TestLoadLineTraits(t *testing.T) {
	droop := func(r *Rig) float64 { // mV at the flattest level, true
		u, ok := r.t.accept(tuned(r, r.Machine().StockRatio, 1.25))
		require.True(t, ok)
		return 1250 - 1000*r.t.settle(scalar, u).settled.volts
	}
	for _, r := range with(t, TraitDroopHuge, Own, 20) {
		require.Greater(t, droop(r), 40.0)
	}
	for _, r := range with(t, TraitOvershoot, Own, 20) {
		require.Less(t, droop(r), -8.0)
	}
	for seed := range uint64(20) {
		d := droop(plain(t, seed*20, Own))
		require.True(t, d > 0 && d < 40, d)
	}
}

func TestCache(t *testing.T) {
	gain := func(r *Rig) float64 {
		u, _ := r.t.accept(trial.Settings{})
		base := r.t.trueScore(scalar, u, state{ratio: u.ratio})
		u.cache += 4
		return r.t.trueScore(scalar, u, state{ratio: u.ratio})/base - 1
	}
	for _, r := range with(t, TraitCacheNoGain, Own, 5) {
		require.Zero(t, gain(r))
	}
	r := plain(t, 1, Own)
	require.Positive(t, gain(r))
	require.Less(t, gain(r), 0.02) // common practice, no source: gains near the noise, about 2 %

	m := r.Machine()
	s := tuned(r, m.StockRatio+2, r.Need(trial.Scalar, m.StockRatio+2, 80, 500)+0.02)
	s.CacheRatio = m.StockCacheRatio + 7
	require.Greater(t, r.TrueMTBF(s, trial.Scalar), 4*r.TrueMTBF(s, trial.Cache), "a cache load shows a weak cache sooner")
	s.CacheRatio = 0
	last := r.TrueMTBF(s, trial.Cache)
	for c := m.StockCacheRatio + 1; c < m.StockCacheRatio+14; c++ {
		s.CacheRatio = c
		now := r.TrueMTBF(s, trial.Cache)
		require.LessOrEqual(t, now, last)
		last = now
	}
	require.Zero(t, last, "a cache far past its limit does not start")
}

func TestIdleFailures(t *testing.T) {
	for _, v := range []Variant{Own, HeavyTail} {
		failed := 0
		for i, r := range with(t, TraitIdle, v, 20) {
			daily := trial.Settings{VoltageMode: "adaptive", SetVoltage: 1.33, SustainedLimit: unlimited, LoadLine: tuned(r, 0, 0).LoadLine}
			if r.Run(i, daily, trial.Bursty, 60).Outcome.Crash() {
				failed++
			}
			require.Greater(t, r.TrueMTBF(daily, trial.Scalar), 500.0, "only the low end is weak")
			daily.LowEndMV = 180
			require.Greater(t, r.TrueMTBF(daily, trial.Bursty), 500.0)
			require.Greater(t, r.TrueMTBF(tuned(r, 0, 1.3), trial.Bursty), 500.0, "a static voltage has no low end")
		}
		require.Greater(t, failed, 16, v)
	}
	r := plain(t, 1, Own)
	require.Greater(t, r.TrueMTBF(trial.Settings{VoltageMode: "adaptive"}, trial.Bursty), 500.0)
	require.Less(t, r.TrueMTBF(trial.Settings{Offset: -0.2, VoltageMode: "offset"}, trial.Bursty), 1.0)
}

func TestTraitsComeInTheirOrder(t *testing.T) {
	all := AllTraits()
	for seed := range uint64(300) {
		last := -1
		for _, trait := range mustNew(t, seed, Own).Traits() {
			at := slices.Index(all, trait)
			require.Greater(t, at, last)
			last = at
		}
	}
}
