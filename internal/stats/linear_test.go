package stats_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/stats"
)

// NIST StRD Norris, certified. Tolerance 1e-12 relative.
func TestNorris(t *testing.T) {
	var ref struct {
		X, Y        []float64
		Intercept   float64
		InterceptSD float64 `json:"intercept_sd"`
		Slope       float64
		SlopeSD     float64 `json:"slope_sd"`
		ResidualSD  float64 `json:"residual_sd"`
		R2          float64
	}
	load(t, "stats-nist-norris", &ref)
	got, err := stats.FitLine(ref.X, ref.Y)
	require.NoError(t, err)
	require.InEpsilon(t, ref.Intercept, got.Intercept, 1e-12)
	require.InEpsilon(t, ref.InterceptSD, got.InterceptSE, 1e-12)
	require.InEpsilon(t, ref.Slope, got.Slope, 1e-12)
	require.InEpsilon(t, ref.SlopeSD, got.SlopeSE, 1e-12)
	require.InEpsilon(t, ref.ResidualSD, got.ResidualSD, 1e-12)
	require.InEpsilon(t, ref.R2, got.R2, 1e-12)
	require.Equal(t, 34, got.DF)

	rows := make([][]float64, len(ref.X))
	for i, x := range ref.X {
		rows[i] = []float64{1, x}
	}
	general, err := stats.FitLinear(rows, ref.Y)
	require.NoError(t, err)
	require.InEpsilon(t, got.Slope, general.Coef[1], 1e-12)
	require.InEpsilon(t, got.InterceptSE, general.SE[0], 1e-12)
	a, err := got.Predict(500, 0.95)
	require.NoError(t, err)
	b, err := general.Predict([]float64{1, 500}, 0.95)
	require.NoError(t, err)
	require.InEpsilon(t, a.New.Low, b.New.Low, 1e-12)
	require.InEpsilon(t, a.Mean.High, b.Mean.High, 1e-12)
}

// By hand: y = 1, 3, 2, 6 at x = 0..3 gives slope 1.4 and intercept 0.9, RSS
// 4.2, and t(0.975, 2) = 4.302653 (Student's table). At the centre the mean
// has leverage 1/4.
func TestLinePrediction(t *testing.T) {
	x, y := []float64{0, 1, 2, 3}, []float64{1, 3, 2, 6}
	l, err := stats.FitLine(x, y)
	require.NoError(t, err)
	require.InDelta(t, 1.4, l.Slope, 1e-12)
	require.InDelta(t, 0.9, l.Intercept, 1e-12)
	require.InDelta(t, math.Sqrt(4.2/2), l.ResidualSD, 1e-12)
	p, err := l.Predict(1.5, 0.95)
	require.NoError(t, err)
	require.InDelta(t, 3, p.Value, 1e-12)
	require.InDelta(t, 2*4.302653*math.Sqrt(2.1/4), p.Mean.Width(), 1e-5)
	require.InDelta(t, 2*4.302653*math.Sqrt(2.1*1.25), p.New.Width(), 1e-5)
	s, err := l.SlopeInterval(0.95)
	require.NoError(t, err)
	require.InDelta(t, 1.4-4.302653*math.Sqrt(2.1/5), s.Low, 1e-5)
	require.Equal(t, []float64{0, 1, 2, 3}, x)
	require.Equal(t, []float64{1, 3, 2, 6}, y)
}

// A shift of x by a million changes nothing but the intercept.
func TestLineFarFromZero(t *testing.T) {
	y := []float64{1, 3, 2, 6}
	l, err := stats.FitLine([]float64{1e6, 1e6 + 1, 1e6 + 2, 1e6 + 3}, y)
	require.NoError(t, err)
	require.InEpsilon(t, 1.4, l.Slope, 1e-12)
	require.InEpsilon(t, 0.9-1.4e6, l.Intercept, 1e-12)
}

func TestLinearWarns(t *testing.T) {
	exact, err := stats.FitLine([]float64{0, 1, 2}, []float64{1, 1, 1})
	require.NoError(t, err)
	require.Len(t, exact.Warnings, 2)
	require.Contains(t, exact.Warnings[0], "One point more")
	require.Contains(t, exact.Warnings[1], "exact")

	near := [][]float64{{1, 0}, {1, 1e-4}, {1, 0}, {1, -1e-4}, {1, 1e-4}}
	f, err := stats.FitLinear(near, []float64{1, 2, 1.5, 1, 2})
	require.NoError(t, err)
	require.Empty(t, f.Warnings, "small columns are scaled, not refused")

	var tied [][]float64
	for i := range 6 {
		v := float64(i)
		tied = append(tied, []float64{v, v + 1e-4*float64(i%2)})
	}
	f, err = stats.FitLinear(tied, []float64{0, 1, 2, 3.1, 4, 5})
	require.NoError(t, err)
	require.Len(t, f.Warnings, 1)
	require.Contains(t, f.Warnings[0], "nearly moved together")
}

func TestLinearRefuses(t *testing.T) {
	y := []float64{1, 2, 4}
	for name, call := range map[string]func() error{
		"empty":     func() error { _, err := stats.FitLine(nil, nil); return err },
		"lengths":   func() error { _, err := stats.FitLine([]float64{1, 2}, y); return err },
		"NaN":       func() error { _, err := stats.FitLine([]float64{1, 2, math.NaN()}, y); return err },
		"two":       func() error { _, err := stats.FitLine([]float64{1, 2}, y[:2]); return err },
		"same x":    func() error { _, err := stats.FitLine([]float64{1, 1, 1}, y); return err },
		"huge":      func() error { _, err := stats.FitLine([]float64{1.7e308, -1.7e308, 1.7e308}, y); return err },
		"twins":     func() error { _, err := stats.FitLinear([][]float64{{1, 2}, {2, 4}, {3, 6}}, y); return err },
		"zero":      func() error { _, err := stats.FitLinear([][]float64{{0}, {0}, {0}}, y); return err },
		"ragged":    func() error { _, err := stats.FitLinear([][]float64{{1}, {1, 2}, {1}}, y); return err },
		"no column": func() error { _, err := stats.FitLinear([][]float64{{}, {}, {}}, y); return err },
		"unfitted":  func() error { _, err := stats.Line{}.Predict(1, 0.95); return err },
		"no slope":  func() error { _, err := stats.Line{}.SlopeInterval(0.95); return err },
		"short row": func() error {
			f, err := stats.FitLinear([][]float64{{1}, {1}, {1}}, y)
			require.NoError(t, err)
			_, err = f.Predict([]float64{1, 2}, 0.9)
			return err
		},
	} {
		require.True(t, fault.Is(call(), fault.Invalid), name)
	}
}
