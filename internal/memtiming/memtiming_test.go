package memtiming

import (
	"math"
	"testing"

	"belay/internal/fault"
	"belay/internal/units"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Invented kits that the tests share.
var (
	kit4 = Settings{Standard: DDR4, Rate: 3200, CL: 16, TRCD: 18, TRP: 18, TRAS: 36, Voltage: 1.35}
	kit5 = Settings{Standard: DDR5, Rate: 6000, CL: 30, TRCD: 36, TRP: 36, TRAS: 76, Voltage: 1.35}
)

func TestDependents(t *testing.T) {
	d, err := Dependents(kit4, 8, 45)
	require.NoError(t, err)
	require.Equal(t, Dependent{
		RowCycle: 54, WriteLatency: 16, WriteRecovery: 24, ReadToPrecharge: 12,
		RowToRowShort: 4, RowToRowLong: 8, FourActivates: 34, Refresh: 560, RefreshEvery: 12480, RefreshShare: 350.0 / 7800,
	}, d)
	d, err = Dependents(kit5, 16, 90)
	require.NoError(t, err)
	require.Equal(t, 28, d.WriteLatency)
	require.Equal(t, 90, d.WriteRecovery)
	require.Equal(t, 8, d.RowToRowShort)
	require.Equal(t, 15, d.RowToRowLong)
	require.Equal(t, 32, d.FourActivates)
	require.Equal(t, 5855, d.RefreshEvery) // 1950 ns at 333 ps
	fast := kit4
	fast.Rate, fast.CL = 4000, 18
	d, err = Dependents(fast, 8, 0)
	require.NoError(t, err)
	require.Equal(t, 18, d.WriteLatency, "never longer than CL")
	require.Equal(t, 42, d.FourActivates)
	_, err = Dependents(kit4, 3, 0)
	require.True(t, fault.Is(err, fault.Invalid))
	_, err = Dependents(Settings{Standard: "sdr", Rate: 3200}, 8, 0)
	require.True(t, fault.Is(err, fault.Invalid))
}

func TestRefusals(t *testing.T) {
	_, err := Clocks(DDR4, 13.75, 1000)
	require.ErrorContains(t, err, "between 1600 and 6000")
	_, err = Clocks(DDR4, -1, 3200)
	require.True(t, fault.Is(err, fault.Invalid))
	_, err = Clocks(DDR5, math.NaN(), 6000)
	require.True(t, fault.Is(err, fault.Invalid))
	_, err = CASFor("ddr3", 13.75, 1600)
	require.True(t, fault.Is(err, fault.Invalid))
	_, err = VoltagesOf("ddr3")
	require.True(t, fault.Is(err, fault.Invalid))
	for _, bad := range [][3]float64{{0, 1, 0.9}, {1, 0, 0.9}, {1, 1, 1}, {math.NaN(), 1, 0.9}, {1e30, 1, 0.9}} {
		_, err = CoverageOf(bad[0], bad[1], bad[2])
		require.True(t, fault.Is(err, fault.Invalid), bad)
	}
}

func TestCheck(t *testing.T) {
	require.Empty(t, Check(kit4))
	require.Empty(t, Check(kit5))
	require.Empty(t, Check(Settings{Standard: DDR5, Rate: 4800, CL: 40, TRCD: 39, TRP: 39, TRAS: 77}))
	require.Empty(t, Check(Settings{Standard: DDR4, Rate: 3466, CL: 16, TRCD: 18, TRP: 18, TRAS: 38}))
	cases := map[string]struct {
		base   Settings
		change func(*Settings)
		says   string
	}{
		"rate-range":     {kit4, func(s *Settings) { s.Rate = 800 }, "not one that exists"},
		"rate-step":      {kit4, func(s *Settings) { s.Rate = 3250 }, "3250 MT/s is not a step"},
		"cl-range":       {kit4, func(s *Settings) { s.CL = 5 }, "CL 5 lies outside 9 to 32"},
		"cl-even":        {kit5, func(s *Settings) { s.CL = 31 }, "CL 31 is odd"},
		"trcd-range":     {kit4, func(s *Settings) { s.TRCD = 0 }, "tRCD 0"},
		"trp-range":      {kit4, func(s *Settings) { s.TRP = 99 }, "tRP 99"},
		"tras-short":     {kit4, func(s *Settings) { s.TRAS = 29 }, "tRAS 29 is too short"},
		"trc-short":      {kit4, func(s *Settings) { s.TRC = 53 }, "tRC 53"},
		"cwl-long":       {kit4, func(s *Settings) { s.CWL = 17 }, "longer than CL 16"},
		"trrd-order":     {kit4, func(s *Settings) { s.TRRDS, s.TRRDL = 6, 4 }, "tRRD_L 4"},
		"tfaw-short":     {kit4, func(s *Settings) { s.TRRDS, s.TFAW = 6, 23 }, "no effect"},
		"refresh-short":  {kit4, func(s *Settings) { s.DensityGb, s.Refresh = 8, 559 }, "below the 560 clocks"},
		"refresh-rare":   {kit4, func(s *Settings) { s.RefreshEvery = 12481 }, "longer than the standard's 12480"},
		"voltage-stress": {kit5, func(s *Settings) { s.Voltage = 1.41 }, "absolute maximum"},
	}
	for name, c := range cases {
		s := c.base
		c.change(&s)
		got := Check(s)
		require.Len(t, got, 1, name)
		require.Equal(t, name, got[0].Rule)
		require.Contains(t, got[0].Text, c.says)
	}
	require.Len(t, rules, len(cases)-1, "every rule has a case; rate-range stands before them")
	edge := kit4
	edge.TRAS, edge.TRC, edge.CWL, edge.TRRDS, edge.TFAW, edge.RefreshEvery, edge.Voltage = 30, 48, 16, 4, 16, 12480, 1.5
	require.Empty(t, Check(edge), "every limit may be met")
	hot := kit4
	hot.RefreshEvery, hot.ModuleCelsius = 12480, 86
	require.Contains(t, Check(hot)[0].Text, "above 85 °C")
}

func TestNext(t *testing.T) {
	got := Next(kit4, EvenWorkload, 0, 1.45)
	var order []string
	for _, c := range got {
		order = append(order, c.Changed)
	}
	require.Equal(t, []string{"data_rate_mts", "cl", "trcd", "trp", "tras"}, order)
	require.Equal(t, 3333, got[0].Settings.Rate)
	require.Equal(t, 16, got[0].Settings.CL)
	require.InDelta(t, 0.03, got[0].Gain, 0.02, "a rate step of 4 % gains less than 4 %")
	require.Contains(t, got[1].Reason, "CL from 16 to 15 clocks: 10.00 to 9.38 ns.")

	five := Next(kit5, Workload{Latency: 1}, 6000, 0)
	require.Equal(t, "cl", five[0].Changed, "no rate above the limit asked for")
	require.Equal(t, 28, five[0].Settings.CL)

	require.Empty(t, Next(kit4, EvenWorkload, 0, 1.30), "above the ceiling")
	broken := kit4
	broken.TRAS = 20
	require.Empty(t, Next(broken, EvenWorkload, 0, 0))
	for from, to := range map[int]int{2400: 2533, 2666: 2800, 3200: 3333, 3333: 3466, 3466: 3600, 3600: 3733} {
		require.Equal(t, to, NextRate(DDR4, from))
	}
	require.Equal(t, 6200, NextRate(DDR5, 6000))
	require.Equal(t, 5200, NextRate(DDR5, 5066))
}

func TestNextProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Settings{
			Standard: DDR4, Rate: NextRate(DDR4, rapid.IntRange(1600, 4400).Draw(t, "rate")),
			CL: rapid.IntRange(9, 32).Draw(t, "cl"), TRCD: rapid.IntRange(8, 40).Draw(t, "trcd"),
			TRP: rapid.IntRange(8, 40).Draw(t, "trp"), TRAS: rapid.IntRange(16, 90).Draw(t, "tras"),
			Voltage: units.Volt(rapid.Float64Range(1.2, 1.55).Draw(t, "volt")),
		}
		w := Workload{rapid.Float64Range(0.05, 1).Draw(t, "latency"), rapid.Float64Range(0.05, 1).Draw(t, "bandwidth")}
		last := math.Inf(1)
		for _, c := range Next(s, w, 0, 1.5) {
			require.Empty(t, Check(c.Settings), "only legal groups")
			require.LessOrEqual(t, c.Gain, last, "best first")
			require.Positive(t, c.Gain)
			last = c.Gain
			changed := 0
			for _, differs := range []bool{
				c.Settings.Rate != s.Rate, c.Settings.CL != s.CL, c.Settings.TRCD != s.TRCD,
				c.Settings.TRP != s.TRP, c.Settings.TRAS != s.TRAS, c.Settings.Voltage != s.Voltage,
			} {
				if differs {
					changed++
				}
			}
			require.Equal(t, 1, changed, "one change at a time")
		}
	})
}

// Rounding never asks for more clocks than plain rounding up, never for fewer
// than the forgiveness allows, and a longer time never gets fewer clocks.
func TestClocksProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		std := rapid.SampledFrom([]Standard{DDR4, DDR5}).Draw(t, "standard")
		rate := rapid.IntRange(3200, 6000).Draw(t, "rate")
		ns := float64(rapid.IntRange(1000, 600_000).Draw(t, "ps")) / 1000
		n, err := Clocks(std, ns, rate)
		require.NoError(t, err)
		tck, err := Cycle(std, rate)
		require.NoError(t, err)
		exact := ns * 1000 / float64(tck)
		forgiven := 0.026
		if std == DDR5 {
			forgiven = 0.003*exact + 0.002
		}
		require.LessOrEqual(t, float64(n), math.Ceil(exact)+1e-9)
		require.GreaterOrEqual(t, float64(n), exact-forgiven)
		more, err := Clocks(std, ns+0.1, rate)
		require.NoError(t, err)
		require.GreaterOrEqual(t, more, n)
	})
}

func TestJudgeVoltage(t *testing.T) {
	cases := []struct {
		std    Standard
		v, kit units.Volt
		band   VoltageBand
	}{
		{DDR4, 1.10, 0, UnderStandard}, {DDR4, 1.20, 0, InStandard}, {DDR4, 1.35, 1.35, InKitRating}, {DDR4, 1.40, 1.35, InCustom},
		{DDR4, 1.40, 0, InCustom}, {DDR4, 1.46, 1.35, AboveCustom}, {DDR4, 1.50, 1.35, AboveCustom}, {DDR4, 1.51, 1.60, Stress},
		{DDR5, 1.10, 0, InStandard}, {DDR5, 1.25, 1.25, InKitRating}, {DDR5, 1.35, 1.25, InCustom}, {DDR5, 1.38, 1.25, AboveCustom},
		{DDR5, 1.41, 1.45, Stress},
	}
	for _, c := range cases {
		band, text, err := JudgeVoltage(c.std, c.v, c.kit)
		require.NoError(t, err)
		require.Equal(t, c.band, band, "%s %v", c.std, c.v)
		require.Contains(t, text, c.v.String())
	}
	_, _, err := JudgeVoltage(DDR4, 5, 0)
	require.True(t, fault.Is(err, fault.Invalid))
	_, _, err = JudgeVoltage("x", 1.2, 0)
	require.True(t, fault.Is(err, fault.Invalid))
}

func TestCoverage(t *testing.T) {
	c, err := CoverageOf(16e9, 32e9, 0.95)
	require.NoError(t, err)
	require.InDelta(t, 0.5, c.Share, 1e-12)
	require.Contains(t, c.Warnings[0], "At most 50 %")
	require.Len(t, c.Warnings, 2)
	c, err = CoverageOf(320e9, 32e9, 0.95)
	require.NoError(t, err)
	require.Empty(t, c.Warnings)
	require.InDelta(t, 1, c.Share, 1e-12)
	require.Contains(t, c.Sentence, "10.0 passes")
	more, err := CoverageOf(640e9, 32e9, 0.95)
	require.NoError(t, err)
	require.Less(t, more.MissedChance, c.MissedChance)
}

func TestInterpret(t *testing.T) {
	const gb = 1 << 30
	at := func(n int, spread uint64, flip func(i int) uint64) []BitError {
		var out []BitError
		for i := range n {
			out = append(out, BitError{uint64(i) * spread, 0, flip(i)})
		}
		return out
	}
	bit := func(b int) func(int) uint64 { return func(int) uint64 { return 1 << b } }
	strewn := func(width, from int) func(int) uint64 {
		return func(i int) uint64 { return 1 << (from + i*7%width) }
	}
	cases := map[string]struct {
		errors  []BitError
		pattern Pattern
		says    string
	}{
		"none":           {nil, NoErrors, "No errors"},
		"equal words":    {[]BitError{{8, 5, 5}}, NoErrors, "No errors"},
		"one":            {at(1, gb, bit(3)), TooFew, "Too few"},
		"same address":   {at(5, 0, strewn(64, 0)), SingleAddress, "same address"},
		"bit line":       {at(5, gb, bit(37)), OneBitLine, "Only bit 37"},
		"chip":           {at(8, gb, strewn(8, 16)), OneChip, "bits 16 to 23"},
		"half":           {at(12, gb, strewn(32, 32)), OneHalf, "bits 32 to 63"},
		"region":         {at(12, 64, strewn(64, 0)), OneRegion, "of the memory"},
		"everywhere":     {at(14, gb, strewn(64, 0)), Everywhere, "a setting, not a part"},
		"two, other bit": {at(2, gb, strewn(64, 5)), TooFew, "Too few"},
	}
	for name, c := range cases {
		s := Interpret(c.errors, 16*gb)
		require.Equal(t, c.pattern, s.Pattern, name)
		require.Contains(t, s.Sentence, c.says, name)
		require.NotEmpty(t, s.Next)
		if c.pattern != SingleAddress && c.pattern != NoErrors && c.pattern != TooFew && c.pattern != Everywhere {
			require.LessOrEqual(t, s.Chance, surprise, name)
		}
	}
	require.Equal(t, []int{37}, Interpret(at(5, gb, bit(37)), 0).Bits)
	require.Equal(t, Everywhere, Interpret(at(12, 64, strewn(64, 0)), 0).Pattern, "no region without a size")
}

func BenchmarkNext(b *testing.B) {
	for b.Loop() {
		Next(kit4, EvenWorkload, 0, 1.45)
	}
}
