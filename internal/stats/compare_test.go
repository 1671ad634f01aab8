package stats_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/stats"
)

type tested struct{ T, DF, P, Low, High float64 }

func same(t *testing.T, want tested, got stats.Comparison) {
	t.Helper()
	require.True(t, got.Tested)
	require.InDelta(t, want.T, got.T, 1e-6)
	require.InDelta(t, want.DF, got.DF, 1e-6)
	require.InDelta(t, want.P, got.P, 1e-6)
	require.InDelta(t, want.Low, got.Interval.Low, 1e-6)
	require.InDelta(t, want.High, got.Interval.High, 1e-6)
}

// Student 1908, R documentation of t.test. Tolerance 1e-6.
func TestSleep(t *testing.T) {
	var ref struct {
		Sleep struct {
			A, B          []float64
			Welch, Paired tested
		}
	}
	load(t, "stats-two-groups", &ref)
	w, err := stats.Welch(ref.Sleep.A, ref.Sleep.B, 0.95)
	require.NoError(t, err)
	same(t, ref.Sleep.Welch, w)
	p, err := stats.Paired(ref.Sleep.A, ref.Sleep.B, 0.95)
	require.NoError(t, err)
	same(t, ref.Sleep.Paired, p)
	require.Less(t, p.Interval.Width(), w.Interval.Width(), "pairing narrows")
}

// Efron and Tibshirani 1993. Tolerance 1e-6.
func TestMouseWelch(t *testing.T) {
	m := loadMouse(t)
	w, err := stats.Welch(m.Treatment, m.Control, 0.95)
	require.NoError(t, err)
	require.InDelta(t, m.Difference, w.Difference, 1e-6)
	require.InDelta(t, m.SED, w.SE, 1e-6)
	same(t, tested{T: m.Difference / m.SED, DF: m.DF, P: m.P, Low: m.Low, High: m.High}, w)
	c, err := stats.Summarize(m.Control)
	require.NoError(t, err)
	require.InDelta(t, m.SEC, c.SE, 1e-6)
	require.InDelta(t, m.MeanC, c.Mean, 1e-6)
}

func TestNoTestWithoutSpread(t *testing.T) {
	for _, c := range []struct {
		name string
		a, b []float64
	}{
		{"one each", []float64{2}, []float64{3}},
		{"one against many", []float64{2}, []float64{3, 4, 5}},
		{"all equal", []float64{2, 2, 2}, []float64{3, 3, 3}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := stats.Welch(c.a, c.b, 0.95)
			require.NoError(t, err)
			require.False(t, got.Tested)
			require.Zero(t, got.Interval)
			require.NotEmpty(t, got.Warnings)
			require.Negative(t, got.Difference)
		})
	}
	got, err := stats.Welch([]float64{2, 2, 2}, []float64{3, 4, 5}, 0.95)
	require.NoError(t, err)
	require.True(t, got.Tested, "one group with spread allows a test")
	require.InDelta(t, 2, got.DF, 1e-12)
}

func TestCompareRefuses(t *testing.T) {
	good := []float64{1, 2, 3}
	for name, call := range map[string]func() error{
		"empty":      func() error { _, err := stats.Welch(nil, good, 0.95); return err },
		"second NaN": func() error { _, err := stats.Welch(good, []float64{math.NaN()}, 0.95); return err },
		"confidence": func() error { _, err := stats.Welch(good, good, 95); return err },
		"no pairs":   func() error { _, err := stats.Paired(good, good[:2], 0.95); return err },
		"paired NaN": func() error { _, err := stats.Paired(good, []float64{1, math.NaN(), 2}, 0.95); return err },
		"paired nil": func() error { _, err := stats.Paired(nil, nil, 0.95); return err },
		"one sample": func() error { _, err := stats.OneSample(nil, 0.95); return err },
	} {
		require.True(t, fault.Is(call(), fault.Invalid), name)
	}
}

// Tables of Student's t and chi-square (Fisher and Yates; textbook), and the
// far tail against t -> normal.
func TestDistributions(t *testing.T) {
	q, err := stats.StudentQuantile(0.975, 10)
	require.NoError(t, err)
	require.InDelta(t, 2.2281388520, q, 1e-9)
	p, err := stats.StudentTwoSided(2.2281388520, 10)
	require.NoError(t, err)
	require.InDelta(t, 0.05, p, 1e-10)
	far, err := stats.StudentTwoSided(12, 1e7)
	require.NoError(t, err)
	require.InEpsilon(t, 2*stats.NormalCDF(-12), far, 1e-3)
	z, err := stats.NormalQuantile(0.975)
	require.NoError(t, err)
	require.InDelta(t, 1.959963984540054, z, 1e-12)
	x, err := stats.ChiSquareQuantile(0.95, 3)
	require.NoError(t, err)
	require.InDelta(t, 7.814727903, x, 1e-8)
	c, err := stats.ChiSquareCDF(7.814727903, 3)
	require.NoError(t, err)
	require.InDelta(t, 0.95, c, 1e-9)
	c, err = stats.ChiSquareCDF(-1, 3)
	require.NoError(t, err)
	require.Zero(t, c)
}

func TestDistributionsRefuse(t *testing.T) {
	for name, call := range map[string]func() (float64, error){
		"p 0":     func() (float64, error) { return stats.NormalQuantile(0) },
		"p NaN":   func() (float64, error) { return stats.StudentQuantile(math.NaN(), 3) },
		"df 0":    func() (float64, error) { return stats.StudentQuantile(0.5, 0) },
		"t NaN":   func() (float64, error) { return stats.StudentTwoSided(math.NaN(), 3) },
		"df Inf":  func() (float64, error) { return stats.ChiSquareQuantile(0.5, math.Inf(1)) },
		"chi NaN": func() (float64, error) { return stats.ChiSquareCDF(math.NaN(), 3) },
		"chi p":   func() (float64, error) { return stats.ChiSquareQuantile(1, 3) },
		"chi df":  func() (float64, error) { return stats.ChiSquareCDF(1, -1) },
		"t df":    func() (float64, error) { return stats.StudentTwoSided(1, math.NaN()) },
	} {
		_, err := call()
		require.True(t, fault.Is(err, fault.Invalid), name)
	}
}
