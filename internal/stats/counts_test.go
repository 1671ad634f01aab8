package stats_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/stats"
)

type countsReference struct {
	Poisson []struct {
		K        int
		C95, C90 [2]float64
	}
	Nine struct {
		K0High float64 `json:"k0_high"`
		K5Low  float64 `json:"k5_low"`
		K5High float64 `json:"k5_high"`
	} `json:"poisson_nine_digits"`
	Coverage []struct{ Mean, Coverage float64 } `json:"coverage_95"`
	Clopper  []shareRow                         `json:"clopper_pearson_95"`
	Wilson   []shareRow                         `json:"wilson_95"`
	Jeffreys []shareRow                         `json:"jeffreys_95"`
	OneSided []shareRow                         `json:"one_sided_upper_95"`
	Upper    []struct {
		K          int
		Conf, High float64
	} `json:"poisson_upper"`
}

type shareRow struct {
	K, N      int
	Low, High float64
}

// Garwood 1936, tolerance 1e-5; nine digits as R's poisson.test prints them.
func TestPoissonInterval(t *testing.T) {
	var ref countsReference
	load(t, "stats-counts", &ref)
	require.Len(t, ref.Poisson, 6)
	for _, r := range ref.Poisson {
		for _, c := range []struct {
			conf float64
			want [2]float64
		}{{0.95, r.C95}, {0.90, r.C90}} {
			got, err := stats.PoissonInterval(r.K, c.conf)
			require.NoError(t, err)
			require.InDelta(t, c.want[0], got.Low, 1e-5, "k %d", r.K)
			require.InDelta(t, c.want[1], got.High, 1e-5, "k %d", r.K)
		}
	}
	zero, err := stats.PoissonInterval(0, 0.95)
	require.NoError(t, err)
	require.InDelta(t, ref.Nine.K0High, zero.High, 1e-9)
	five, err := stats.PoissonInterval(5, 0.95)
	require.NoError(t, err)
	require.InDelta(t, ref.Nine.K5Low, five.Low, 1e-8)
	require.InDelta(t, ref.Nine.K5High, five.High, 1e-8)
}

// The interval covers the truth at least as often as it says, and exactly as
// often as computed elsewhere.
func TestPoissonCoverage(t *testing.T) {
	var ref countsReference
	load(t, "stats-counts", &ref)
	cover := func(mean float64) float64 {
		var total float64
		for k := range 200 {
			iv, err := stats.PoissonInterval(k, 0.95)
			require.NoError(t, err)
			if iv.Contains(mean) {
				lg, _ := math.Lgamma(float64(k) + 1)
				total += math.Exp(float64(k)*math.Log(mean) - mean - lg)
			}
		}
		return total
	}
	for _, r := range ref.Coverage {
		require.InDelta(t, r.Coverage, cover(r.Mean), 1e-9)
	}
	for m := 0.5; m < 20; m += 0.9 {
		require.GreaterOrEqual(t, cover(m), 0.95, "mean %v", m)
	}
}

// NIST/SEMATECH e-Handbook 8.3.1.2 (tolerance 5e-5) and the rule of three.
func TestOneSidedBounds(t *testing.T) {
	var ref countsReference
	load(t, "stats-counts", &ref)
	for _, r := range ref.Upper {
		got, err := stats.PoissonUpper(r.K, r.Conf)
		require.NoError(t, err)
		require.InDelta(t, r.High, got, 5e-5)
	}
	for _, r := range ref.OneSided {
		got, err := stats.BinomialUpper(r.K, r.N, 0.95)
		require.NoError(t, err)
		require.InDelta(t, r.High, got, 1e-9)
		two, err := stats.ClopperPearson(r.K, r.N, 0.95)
		require.NoError(t, err)
		require.Greater(t, two.High, got, "the two-sided end is another number")
	}
	// One-sided at 97.5 % is the upper end of the two-sided 95 %.
	for k := range 7 {
		one, err := stats.BinomialUpper(k, 6, 0.975)
		require.NoError(t, err)
		two, err := stats.ClopperPearson(k, 6, 0.95)
		require.NoError(t, err)
		require.InDelta(t, two.High, one, 1e-9)
	}
}

// Clopper and Pearson 1934, Wilson 1927, Brown, Cai and DasGupta 2001; values
// computed with scipy. Tolerance 1e-6.
func TestShares(t *testing.T) {
	var ref countsReference
	load(t, "stats-counts", &ref)
	for _, c := range []struct {
		name string
		rows []shareRow
		call func(k, n int, conf float64) (stats.Interval, error)
	}{
		{"exact", ref.Clopper, stats.ClopperPearson},
		{"score", ref.Wilson, stats.Wilson},
		{"posterior", ref.Jeffreys, stats.Jeffreys},
	} {
		require.NotEmpty(t, c.rows)
		for _, r := range c.rows {
			got, err := c.call(r.K, r.N, 0.95)
			require.NoError(t, err)
			require.InDelta(t, r.Low, got.Low, 1e-6, c.name)
			require.InDelta(t, r.High, got.High, 1e-6, c.name)
		}
		for k := range 13 { // mirrored, and within 0..1
			a, err := c.call(k, 12, 0.9)
			require.NoError(t, err)
			b, err := c.call(12-k, 12, 0.9)
			require.NoError(t, err)
			require.InDelta(t, a.Low, 1-b.High, 1e-9, c.name)
			require.True(t, a.Low >= 0 && a.High <= 1 && a.Contains(float64(k)/12), c.name)
		}
	}
}

func TestCountsRefuse(t *testing.T) {
	for name, call := range map[string]func() error{
		"negative":   func() error { _, err := stats.PoissonInterval(-1, 0.95); return err },
		"confidence": func() error { _, err := stats.PoissonUpper(1, 1); return err },
		"no tries":   func() error { _, err := stats.Wilson(0, 0, 0.95); return err },
		"too many":   func() error { _, err := stats.Jeffreys(3, 2, 0.95); return err },
		"minus":      func() error { _, err := stats.ClopperPearson(-1, 2, 0.95); return err },
		"NaN":        func() error { _, err := stats.BinomialUpper(1, 2, math.NaN()); return err },
	} {
		require.True(t, fault.Is(call(), fault.Invalid), name)
	}
}
