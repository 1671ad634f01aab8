package gain_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/gain"
	"belay/internal/units"
)

// power makes points on score = clock^beta with a scatter of each point.
func power(beta float64, clocks, scatter []float64) []gain.Point {
	out := make([]gain.Point, len(clocks))
	for i, c := range clocks {
		out[i] = gain.Point{Clock: units.Megahertz(c), Score: math.Pow(c/1000, beta) * math.Exp(scatter[i])}
	}
	return out
}

// Common practice, no source: 8 % more clock gave 6.5 % in rendering, which is
// ln 1.065 / ln 1.08 = 0.8183; a cap of 4.2 instead of 4.9 GHz then costs
// about 13.4 % of the score.
func TestElasticityOfTheTrade(t *testing.T) {
	points := []gain.Point{{Clock: 4900, Score: 100}, {Clock: 5292, Score: 106.5}, {Clock: 5292, Score: 106.5}}
	e, err := gain.FitElasticity(points, 0.95)
	require.NoError(t, err)
	require.InDelta(t, math.Log(1.065)/math.Log(1.08), e.Beta, 1e-9)
	require.InDelta(t, 0.8183, e.Beta, 5e-5)
	require.Contains(t, e.Warnings, "The fit is exact, so its uncertainty is unknown.")
	s, err := e.Predict(4200, 4900, 3)
	require.NoError(t, err)
	require.InDelta(t, 13.4, gain.Percent(s.Ratio), 0.05)
}

// The interval covers the true elasticity as often as it says.
func TestElasticityCoverage(t *testing.T) {
	clocks := []float64{4700, 4800, 4900, 5000, 5100, 5200}
	rng := rand.New(rand.NewPCG(7, 7))
	const rounds = 2000
	hit := 0
	for range rounds {
		scatter := make([]float64, len(clocks))
		for i := range scatter {
			scatter[i] = 0.01 * rng.NormFloat64()
		}
		e, err := gain.FitElasticity(power(0.8, clocks, scatter), 0.9)
		require.NoError(t, err)
		if e.Interval.Contains(0.8) {
			hit++
		}
	}
	require.InDelta(t, 0.9, float64(hit)/rounds, 0.02)
}

func TestElasticityWarnings(t *testing.T) {
	clocks := []float64{4000, 4000, 5000, 5000}
	small := []float64{0.001, -0.001, -0.001, 0.001}
	for _, c := range []struct {
		beta, scatter float64
		want          string
	}{{1.5, 1, "faster than the clock"}, {-0.5, 1, "throttling"}, {0.1, 100, "No effect"}} {
		scatter := make([]float64, len(small))
		for i := range small {
			scatter[i] = small[i] * c.scatter
		}
		e, err := gain.FitElasticity(power(c.beta, clocks, scatter), 0.95)
		require.NoError(t, err)
		require.Len(t, e.Warnings, 1)
		require.Contains(t, e.Warnings[0], c.want)
		require.InDelta(t, c.beta, e.Beta, 1e-9, "scatter was balanced")
	}
}

// 2 % more clock at Beta 0.8 is 1.6 %: seen by scores that scatter little,
// lost in those that scatter much.
func TestPredictIsHonestAboutScatter(t *testing.T) {
	clocks := []float64{4800, 4900, 5000, 5100}
	shape := []float64{1, -1, -1, 1}
	predict := func(scatter float64) gain.Step {
		sc := make([]float64, len(shape))
		for i := range shape {
			sc[i] = scatter * shape[i]
		}
		e, err := gain.FitElasticity(power(0.8, clocks, sc), 0.95)
		require.NoError(t, err)
		s, err := e.Predict(5100, 5202, 3)
		require.NoError(t, err)
		require.True(t, s.Interval.Contains(s.Ratio))
		require.InDelta(t, math.Pow(1.02, e.Beta), s.Ratio, 1e-12)
		return s
	}
	quiet, loud := predict(0.0005), predict(0.02)
	require.True(t, quiet.Visible)
	require.False(t, loud.Visible)
	require.Contains(t, loud.Warnings[len(loud.Warnings)-1], "lost in the scatter")
	require.Less(t, quiet.Interval.Width(), loud.Interval.Width())
}

// By hand: t(0.975, 4) = 2.776445 and t(0.8, 4) = 0.940965 (Student's table).
func TestSmallest(t *testing.T) {
	got, err := gain.Smallest(0.01, 3, 0.95)
	require.NoError(t, err)
	require.InDelta(t, math.Expm1((2.776445+0.940965)*0.01*math.Sqrt(2.0/3)), got, 1e-8)
	more, err := gain.Smallest(0.01, 12, 0.95)
	require.NoError(t, err)
	require.Less(t, more, got/2, "four times the runs more than halve it")
}

func TestStepsRefuse(t *testing.T) {
	e, err := gain.FitElasticity(power(0.8, []float64{4800, 4900, 5000}, []float64{0.01, -0.01, 0}), 0.95)
	require.NoError(t, err)
	three := func(p ...gain.Point) []gain.Point {
		return append(p, gain.Point{Clock: 4800, Score: 1}, gain.Point{Clock: 4900, Score: 1})
	}
	for name, call := range map[string]func() error{
		"two points": func() error { _, err := gain.FitElasticity(three(), 0.95); return err },
		"no clock":   func() error { _, err := gain.FitElasticity(three(gain.Point{Score: 1}), 0.95); return err },
		"no score":   func() error { _, err := gain.FitElasticity(three(gain.Point{Clock: 1}), 0.95); return err },
		"one clock": func() error {
			_, err := gain.FitElasticity(power(1, []float64{5, 5, 5}, []float64{0, 0, 1}), 0.95)
			return err
		},
		"confidence": func() error {
			_, err := gain.FitElasticity(power(1, []float64{5, 6, 7}, []float64{0, 0, 1}), 2)
			return err
		},
		"unfitted":      func() error { _, err := gain.Elasticity{}.Predict(1, 2, 3); return err },
		"from nothing":  func() error { _, err := e.Predict(0, 5000, 3); return err },
		"to infinity":   func() error { _, err := e.Predict(5000, units.Megahertz(math.Inf(1)), 3); return err },
		"one run":       func() error { _, err := e.Predict(5000, 5100, 1); return err },
		"noise":         func() error { _, err := gain.Smallest(math.NaN(), 3, 0.95); return err },
		"smallest conf": func() error { _, err := gain.Smallest(0.1, 3, 1); return err },
		"no power":      func() error { _, err := gain.CostOf(gain.Side{}, gain.Side{}, 0.95); return err },
		"NaN heat": func() error {
			s := gain.Side{Scores: []float64{1}, Power: 100, Temp: units.Celsius(math.NaN())}
			_, err := gain.CostOf(s, s, 0.95)
			return err
		},
		"no scores": func() error { _, err := gain.CostOf(gain.Side{Power: 1}, gain.Side{Power: 1}, 0.95); return err },
	} {
		require.True(t, fault.Is(call(), fault.Invalid), name)
	}
}

func lastStep() (before, after gain.Side) {
	return gain.Side{Scores: []float64{1000, 1004, 998}, Power: 210, Temp: 78, Voltage: 1.225},
		gain.Side{Scores: []float64{1018, 1014, 1016}, Power: 232, Temp: 84, Voltage: 1.260}
}

// The worked example of docs/models/gain.md.
func TestWorkedExample(t *testing.T) {
	before, after := lastStep()
	c, err := gain.CostOf(before, after, 0.95)
	require.NoError(t, err)
	require.Equal(t, gain.Faster, c.Gain.Verdict)
	require.InDelta(t, 22, c.AddedWatts, 1e-9)
	require.InDelta(t, 6, c.AddedDegrees, 1e-9)
	require.InDelta(t, 35, c.AddedMillivolts, 1e-9)
	require.InDelta(t, 232.0/210/c.Gain.Ratio, c.EnergyRatio, 1e-12)
	require.InDelta(t, 1/c.EnergyRatio, c.WorkPerWattAfter/c.WorkPerWattBefore, 1e-12)
	require.InDelta(t, 1, c.PercentPerWatt*c.WattsPerPercent, 1e-12)
	doc, err := os.ReadFile("../../docs/models/gain.md")
	require.NoError(t, err)
	for _, s := range []string{
		fmt.Sprintf("ratio %.4f", c.Gain.Ratio),
		fmt.Sprintf("%.4f to %.4f", c.Gain.Interval.Low, c.Gain.Interval.High),
		fmt.Sprintf("%.2f degrees of freedom, p %.4f", c.Gain.DF, c.Gain.P),
		fmt.Sprintf("%.1f W, %.1f °C and %.0f mV for each percent", c.WattsPerPercent, c.DegreesPerPercent, c.MillivoltsPerPercent),
		fmt.Sprintf("%.1f %% more energy", gain.Percent(c.EnergyRatio)),
	} {
		require.Contains(t, string(doc), s)
	}
}

func TestCostWithoutGain(t *testing.T) {
	before, after := lastStep()
	after.Scores = []float64{1001, 1003, 999}
	c, err := gain.CostOf(before, after, 0.95)
	require.NoError(t, err)
	require.False(t, c.Worthwhile)
	require.Zero(t, c.WattsPerPercent)
	require.Contains(t, c.Warnings[len(c.Warnings)-1], "no value")

	cooler, _ := lastStep()
	_, faster := lastStep()
	faster.Power = 200
	c, err = gain.CostOf(cooler, faster, 0.95)
	require.NoError(t, err)
	require.True(t, c.Worthwhile)
	require.Zero(t, c.PercentPerWatt)
	require.Negative(t, c.WattsPerPercent)
}
