package virtualrig

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/trial"
	"belay/internal/units"
)

func mustNew(t testing.TB, seed uint64, v Variant) *Rig {
	t.Helper()
	r, err := New(seed, v)
	require.NoError(t, err)
	return r
}

// plain returns the first seed at or after from whose rig has no trait.
func plain(t testing.TB, from uint64, v Variant) *Rig {
	t.Helper()
	for seed := from; seed < from+200; seed++ {
		q := drawQuirks(seed, v)
		q.background = false
		if len(q.list()) == 0 {
			return mustNew(t, seed, v)
		}
	}
	require.Fail(t, "no plain rig found")
	return nil
}

// tuned is a static voltage on the flattest level with the power limit lifted.
func tuned(r *Rig, ratio units.Ratio, set units.Volt) trial.Settings {
	l := r.t.supply.levels
	return trial.Settings{
		Ratio: ratio, SetVoltage: set, VoltageMode: "static",
		LoadLine: l[len(l)-1].name, SustainedLimit: unlimited,
	}
}

func TestNewRejectsUnknownVariant(t *testing.T) {
	_, err := New(1, "lucky")
	require.True(t, fault.Is(err, fault.Invalid))
	var f *fault.Error
	require.ErrorAs(t, err, &f)
	for _, v := range Variants() {
		require.Contains(t, f.Next, string(v))
	}
}

func TestRunDependsOnItsArgumentsOnly(t *testing.T) {
	for _, v := range Variants() {
		a, b := mustNew(t, 11, v), mustNew(t, 11, v)
		require.Equal(t, a, b)
		s := tuned(a, a.Machine().StockRatio+3, 1.19)
		first := a.Run(4, s, trial.Mixed, 30)
		for n := range 20 { // what ran before must not matter
			b.Run(n+100, s, trial.Scalar, 10)
		}
		require.Equal(t, first, b.Run(4, s, trial.Mixed, 30), v)
	}
}

func TestLuckIsFreshForEachTrialSeedAndVariant(t *testing.T) {
	r := plain(t, 1, Own)
	scores := map[float64]bool{}
	for n := range 50 {
		scores[r.Run(n, trial.Settings{}, trial.Scalar, 10).Readings.Score] = true
	}
	require.Greater(t, len(scores), 45)
	require.NotEqual(t, mustNew(t, 1, Own).t, mustNew(t, 2, Own).t)
	require.NotEqual(t, mustNew(t, 1, Own).t.core, mustNew(t, 1, PerCore).t.core)
}

func TestOneSeedHasTheSamePartsUnderEveryVariant(t *testing.T) {
	for seed := range uint64(50) {
		want := mustNew(t, seed, Own).Machine()
		for _, v := range Variants() {
			require.Equal(t, want, mustNew(t, seed, v).Machine())
		}
	}
}

func TestLongerTrialContinuesTheShorterOne(t *testing.T) {
	r := plain(t, 1, Own)
	s := tuned(r, r.Machine().StockRatio+3, r.Need(trial.Scalar, r.Machine().StockRatio+3, 75, 0.3))
	failed := 0
	for n := range 100 {
		long := r.Run(n, s, trial.Scalar, 30)
		if !long.Outcome.Failed() {
			continue
		}
		failed++
		short := r.Run(n, s, trial.Scalar, long.Minutes*0.99)
		require.Equal(t, trial.Clean, short.Outcome)
	}
	require.Greater(t, failed, 20)
}

func TestMachineIsFilledAndPlausible(t *testing.T) {
	for seed := range uint64(300) {
		r := mustNew(t, seed, Own)
		m := r.Machine()
		raw, err := json.Marshal(m)
		require.NoError(t, err)
		fields := map[string]any{}
		require.NoError(t, json.Unmarshal(raw, &fields))
		require.Len(t, fields, 18, "a field is empty: %s", raw)
		// Bounds: 4.7 to 5.1 GHz all-core at a base clock of 100 MHz, common practice, no source.
		require.True(t, m.StockRatio >= 47 && m.StockRatio <= 51)
		require.Less(t, m.StockCacheRatio, m.StockRatio)
		require.True(t, r.AirTemp() >= 19 && r.AirTemp() <= 28)
		require.GreaterOrEqual(t, len(r.LoadLines()), 5)
	}
}

func TestLoadLineLevelsHaveNoCommonScale(t *testing.T) {
	oneIsSteep := 0
	for seed := range uint64(200) {
		if mustNew(t, seed, Own).t.supply.levels[0].name == "1" {
			oneIsSteep++
		}
	}
	require.InDelta(t, 100, oneIsSteep, 30)
}

func TestBadInputNeverStartsNorPanics(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	r := plain(t, 1, Own)
	for name, s := range map[string]trial.Settings{
		"nan voltage":        {SetVoltage: units.Volt(nan)},
		"inf voltage":        {SetVoltage: units.Volt(inf)},
		"negative voltage":   {SetVoltage: -1.2},
		"millivolts":         {SetVoltage: 1250},
		"nan offset":         {Offset: units.Volt(nan)},
		"huge offset":        {Offset: -0.9},
		"deep offset":        {Offset: -0.4},
		"nan lift":           {LowEndMV: nan},
		"negative ratio":     {Ratio: -5},
		"ratio as MHz":       {Ratio: 5000},
		"ratio too high":     {Ratio: 80, SetVoltage: 1.3},
		"cache too high":     {CacheRatio: 90},
		"negative wide":      {WideVectorOffset: -1},
		"nan limit":          {SustainedLimit: units.Watt(nan)},
		"negative limit":     {ShortLimit: -10},
		"unknown mode":       {VoltageMode: "magic"},
		"unknown profile":    {MemoryProfile: "maybe"},
		"rate too high":      {MemoryProfile: "on", DataRate: 12000},
		"rate negative":      {DataRate: -3600},
		"rate overflow":      {DataRate: math.MaxInt},
		"timing negative":    {CL: -16},
		"timing one":         {TRCD: 1},
		"timing overflow":    {TRAS: math.MaxInt},
		"memory volts nan":   {DRAMVoltage: units.Volt(nan)},
		"memory volts high":  {DRAMVoltage: 3},
		"memory volts minus": {DRAMVoltage: -1},
	} {
		t.Run(name, func(t *testing.T) {
			got := r.Run(1, s, trial.Scalar, 10)
			require.Equal(t, trial.NoBoot, got.Outcome)
			require.Zero(t, got.Minutes)
			require.Zero(t, got.Readings)
			require.Zero(t, r.TrueMTBF(s, trial.Scalar))
		})
	}
	for _, minutes := range []units.Minutes{0, -3, units.Minutes(nan), units.Minutes(inf), units.Minutes(-inf)} {
		got := r.Run(1, trial.Settings{}, trial.Scalar, minutes)
		require.Equal(t, trial.Stopped, got.Outcome)
		require.Zero(t, got.PlannedMinutes)
		_, err := json.Marshal(got)
		require.NoError(t, err)
	}
	require.Equal(t, trial.Stopped, r.Run(1, trial.Settings{}, "nap", 10).Outcome)
	require.Equal(t, trial.Clean, r.Run(-7, trial.Settings{}, trial.Scalar, 10).Outcome)
	require.True(t, math.IsNaN(r.TrueMTBF(trial.Settings{}, "nap")))
	for _, hours := range []float64{0, -1, nan, inf} {
		require.True(t, math.IsNaN(float64(r.Need(trial.Scalar, 50, 70, hours))))
	}
	require.True(t, math.IsNaN(float64(r.Need("nap", 50, 70, 500))))
	require.True(t, math.IsNaN(float64(r.Need(trial.Scalar, 50, units.Celsius(nan), 500))))
}

func FuzzRun(f *testing.F) {
	f.Add(uint64(1), 3, 52, 1.25, 10.0, 3600, 16)
	f.Add(uint64(2), -1, -9, math.NaN(), math.Inf(1), -1, 0)
	f.Fuzz(func(t *testing.T, seed uint64, n, ratio int, volts, minutes float64, rate, cl int) {
		for _, v := range Variants() {
			r := mustNew(t, seed, v)
			for _, load := range trial.Loads {
				got := r.Run(n, trial.Settings{Ratio: units.Ratio(ratio), SetVoltage: units.Volt(volts), DataRate: rate, CL: cl}, load, units.Minutes(minutes))
				require.Contains(t, trial.Outcomes, got.Outcome)
				require.True(t, got.Minutes >= 0 && got.Minutes <= got.PlannedMinutes)
				_, err := json.Marshal(got.Readings)
				require.NoError(t, err)
			}
		}
	})
}

func BenchmarkNew(b *testing.B) {
	for i := range b.N {
		mustNew(b, uint64(i), Worst)
	}
}

func BenchmarkRun(b *testing.B) {
	for _, v := range []Variant{Own, Worst} {
		r := plain(b, 1, v)
		for name, s := range map[string]trial.Settings{"delivered": {}, "tuned": tuned(r, r.Machine().StockRatio+3, 1.25)} {
			b.Run(string(v)+"/"+name, func(b *testing.B) {
				for i := range b.N {
					r.Run(i, s, trial.Scalar, 10)
				}
			})
		}
	}
}
