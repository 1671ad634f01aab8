package stats_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/stats"
)

type curve struct {
	Starts [][]float64
	X, Y   []float64
	B, SD  []float64
	RSS    float64
}

func curves() map[string]func(x float64, b []float64) float64 {
	return map[string]func(x float64, b []float64) float64{
		"misra1a": func(x float64, b []float64) float64 { return b[0] * (1 - math.Exp(-b[1]*x)) },
		"danwood": func(x float64, b []float64) float64 { return b[0] * math.Pow(x, b[1]) },
		"mgh10":   func(x float64, b []float64) float64 { return b[0] * math.Exp(b[1]/(x+b[2])) },
		"thurber": func(x float64, b []float64) float64 {
			return (b[0] + x*(b[1]+x*(b[2]+x*b[3]))) / (1 + x*(b[4]+x*(b[5]+x*b[6])))
		},
	}
}

func (c curve) problem(f func(x float64, b []float64) float64, start []float64) stats.Problem {
	return stats.Problem{N: len(c.X), Start: start, Residuals: func(b, out []float64) {
		for i, x := range c.X {
			out[i] = f(x, b) - c.Y[i]
		}
	}}
}

// NIST StRD nonlinear, certified, from both starts: six digits on the
// coefficients, four on their deviations, six on the sum of squares.
func TestCertifiedCurves(t *testing.T) {
	var ref map[string]curve
	load(t, "stats-nist-nonlinear", &ref)
	require.Len(t, ref, len(curves()))
	for name, f := range curves() {
		c := ref[name]
		require.Len(t, c.Starts, 2)
		for k, start := range c.Starts {
			t.Run(fmt.Sprint(name, k+1), func(t *testing.T) {
				before := append([]float64(nil), start...)
				got, err := stats.FitNonlinear(c.problem(f, start))
				require.NoError(t, err)
				require.True(t, got.Converged)
				require.Empty(t, got.Warnings)
				for j := range c.B {
					require.InEpsilon(t, c.B[j], got.Coef[j], 1e-6, "b%d", j+1)
					require.InEpsilon(t, c.SD[j], got.SE[j], 1e-4, "sd%d", j+1)
				}
				require.InEpsilon(t, c.RSS, got.RSS, 1e-6)
				require.Equal(t, before, start)
			})
		}
	}
}

func TestNonlinearExact(t *testing.T) {
	got, err := stats.FitNonlinear(stats.Problem{N: 4, Start: []float64{1, 0}, Residuals: func(b, out []float64) {
		for i := range out {
			out[i] = b[0]*float64(i) + b[1] - (3*float64(i) + 2)
		}
	}})
	require.NoError(t, err)
	require.True(t, got.Converged)
	require.InDelta(t, 3, got.Coef[0], 1e-9)
	require.InDelta(t, 2, got.Coef[1], 1e-9)
	require.Equal(t, []string{"The fit is exact, so its uncertainty is unknown."}, got.Warnings)
}

// An unknown that changes nothing is named, not given a made-up error.
func TestNonlinearTied(t *testing.T) {
	got, err := stats.FitNonlinear(stats.Problem{N: 4, Start: []float64{1, 1}, Residuals: func(b, out []float64) {
		for i := range out {
			out[i] = (b[0]+b[1])*float64(i) - float64(i*i)
		}
	}})
	require.NoError(t, err)
	require.Nil(t, got.SE)
	require.Contains(t, got.Warnings[len(got.Warnings)-1], "do not tell all unknowns apart")
}

// At a kink no step helps though the slope is not zero: that is no minimum of
// a smooth model, and it is said.
func TestNonlinearUnsettled(t *testing.T) {
	got, err := stats.FitNonlinear(stats.Problem{N: 2, Start: []float64{0.3}, Residuals: func(b, out []float64) {
		out[0], out[1] = 1+math.Abs(b[0]-0.1), 0
	}})
	require.NoError(t, err)
	require.False(t, got.Converged)
	require.Contains(t, got.Warnings[0], "did not settle")
}

func TestNonlinearRefuses(t *testing.T) {
	bad := func(v float64) func(b, out []float64) {
		return func(b, out []float64) {
			for i := range out {
				out[i] = b[0]
				if b[0] != 1 {
					out[i] = v
				}
			}
		}
	}
	for name, p := range map[string]stats.Problem{
		"no start":  {N: 3, Residuals: bad(0)},
		"NaN start": {N: 3, Start: []float64{math.NaN()}, Residuals: bad(0)},
		"too few":   {N: 1, Start: []float64{1}, Residuals: bad(0)},
		"no value":  {N: 2, Start: []float64{2}, Residuals: bad(math.NaN())},
		"no slope":  {N: 2, Start: []float64{1}, Residuals: bad(math.Inf(1))},
	} {
		_, err := stats.FitNonlinear(p)
		require.True(t, fault.Is(err, fault.Invalid), name)
	}
}
