package gain_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"belay/internal/fault"
	"belay/internal/gain"
)

// On the log scale by hand: before e^0, e^1, e^2 and after e^1, e^2, e^3
// differ by 1 with standard error sqrt(2/3) and 4 degrees of freedom.
// t(0.975, 4) = 2.776445 (Student's table).
func TestCompareByHand(t *testing.T) {
	before := []float64{1, math.E, math.Exp(2)}
	after := []float64{math.E, math.Exp(2), math.Exp(3)}
	c, err := gain.Compare(before, after, 0.95)
	require.NoError(t, err)
	se := math.Sqrt(2.0 / 3)
	require.InDelta(t, math.E, c.Ratio, 1e-12)
	require.InDelta(t, math.E, c.MedianRatio, 1e-12)
	require.InDelta(t, math.Exp(1-2.776445*se), c.Interval.Low, 1e-6)
	require.InDelta(t, math.Exp(1+2.776445*se), c.Interval.High, 1e-4)
	require.InDelta(t, 4, c.DF, 1e-9)
	require.InDelta(t, 1/se, c.T, 1e-9)
	require.Equal(t, gain.Same, c.Verdict)
	require.Equal(t, 3, c.Before.N)
	require.InDelta(t, math.Sqrt(math.E-1), c.Before.Spread, 1e-12, "spread of a log-normal with sd 1")
	require.Empty(t, c.Warnings)
}

func TestVerdicts(t *testing.T) {
	base := []float64{100, 101, 99, 100.5}
	scaled := func(by float64) []float64 {
		out := make([]float64, len(base))
		for i, v := range base {
			out[i] = v * by
		}
		return out
	}
	for _, c := range []struct {
		by   float64
		want gain.Verdict
	}{{1.08, gain.Faster}, {0.95, gain.Slower}, {1.003, gain.Same}} {
		got, err := gain.Compare(base, scaled(c.by), 0.95)
		require.NoError(t, err)
		require.Equal(t, c.want, got.Verdict)
		require.InEpsilon(t, c.by, got.Ratio, 1e-12)
		require.Equal(t, c.want == gain.Same, got.TooMany || got.MoreRuns > 0)
	}
}

// The number of further runs is honest: of many repetitions with the
// true difference and scatter seen, about 80 % are settled after them.
func TestMoreRunsSettle(t *testing.T) {
	before := []float64{99, 100.6, 101.1, 99.6}
	after := []float64{101.2, 100.4, 101.9, 99.9}
	c, err := gain.Compare(before, after, 0.95)
	require.NoError(t, err)
	require.Equal(t, gain.Same, c.Verdict)
	require.False(t, c.TooMany)
	require.Positive(t, c.MoreRuns)

	rng := rand.New(rand.NewPCG(80, 4))
	draw := func(n int, mean, sd float64) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = mean * math.Exp(sd*rng.NormFloat64())
		}
		return out
	}
	const rounds = 2000
	settled := 0
	n := len(before) + c.MoreRuns
	for range rounds {
		again, err := gain.Compare(draw(n, 1, c.Before.Spread), draw(n, c.Ratio, c.After.Spread), 0.95)
		require.NoError(t, err)
		if again.Verdict == gain.Faster {
			settled++
		}
	}
	require.InDelta(t, 0.83, float64(settled)/rounds, 0.06)
}

func TestTooManyRuns(t *testing.T) {
	before := []float64{99, 101, 100}
	c, err := gain.Compare(before, []float64{99.05, 101, 100}, 0.95)
	require.NoError(t, err)
	require.Equal(t, gain.Same, c.Verdict)
	require.True(t, c.TooMany)
	require.Zero(t, c.MoreRuns)
	same, err := gain.ComparePaired(before, []float64{101, 100, 99}, 0.95)
	require.NoError(t, err)
	require.True(t, same.TooMany)
}

// One score on each side cannot tell a gain from scatter, and says so.
func TestOneScoreEach(t *testing.T) {
	c, err := gain.Compare([]float64{100}, []float64{108}, 0.95)
	require.NoError(t, err)
	require.Equal(t, gain.Unknown, c.Verdict)
	require.InDelta(t, 1.08, c.Ratio, 1e-12)
	require.Zero(t, c.Interval)
	require.Equal(t, []string{
		"One score before says nothing about scatter. Take 2 more.",
		"One score after says nothing about scatter. Take 2 more.",
	}, c.Warnings)
}

// One score against several scatters like the several: the interval for one
// new observation, s sqrt(1 + 1/n), by hand with t(0.975, 2) = 4.302653.
func TestOneScoreAgainstThree(t *testing.T) {
	three := []float64{math.Exp(-0.01), 1, math.Exp(0.01)}
	half := 4.302653 * 0.01 * math.Sqrt(4.0/3)
	for _, swap := range []bool{false, true} {
		before, after, sign := three, []float64{1.08}, 1.0
		if swap {
			before, after, sign = after, before, -1
		}
		c, err := gain.Compare(before, after, 0.95)
		require.NoError(t, err)
		require.InDelta(t, sign*math.Log(1.08)-half, math.Log(c.Interval.Low), 1e-7)
		require.InDelta(t, sign*math.Log(1.08)+half, math.Log(c.Interval.High), 1e-7)
		require.Len(t, c.Warnings, 1)
	}
	small, err := gain.Compare(three, []float64{1.02}, 0.95)
	require.NoError(t, err)
	require.Equal(t, gain.Same, small.Verdict)
	require.Positive(t, small.MoreRuns)
	turned, err := gain.Compare([]float64{1.02}, three, 0.95)
	require.NoError(t, err)
	require.Equal(t, small.MoreRuns, turned.MoreRuns)
	two, err := gain.Compare(three[:2], []float64{1.08}, 0.95)
	require.NoError(t, err)
	require.Equal(t, gain.Unknown, two.Verdict, "two scores lend no scatter")
}

func TestCompareWarnings(t *testing.T) {
	equal, err := gain.Compare([]float64{5, 5, 5}, []float64{6, 6, 6}, 0.95)
	require.NoError(t, err)
	require.Equal(t, gain.Unknown, equal.Verdict)
	require.Len(t, equal.Warnings, 2)
	require.Contains(t, equal.Warnings[0], "rounded")

	two, err := gain.Compare([]float64{5, 5.1}, []float64{6, 6.1, 6.2}, 0.95)
	require.NoError(t, err)
	require.Equal(t, []string{"Only 2 scores before. Take 1 more."}, two.Warnings)

	drift, err := gain.Compare([]float64{100, 101, 102, 103, 104, 105, 106, 107}, []float64{110, 111, 110, 111}, 0.95)
	require.NoError(t, err)
	require.Equal(t, []string{"Scores before drift. Let the PC warm up, or run both settings in turn."}, drift.Warnings)
}

// Runs taken in turn cancel a drift that hides the gain otherwise.
func TestPairingCancelsDrift(t *testing.T) {
	before := []float64{100, 98, 96, 94, 92}
	after := []float64{103, 100.8, 98.9, 96.9, 94.7}
	loose, err := gain.Compare(before, after, 0.95)
	require.NoError(t, err)
	require.Equal(t, gain.Same, loose.Verdict)
	paired, err := gain.ComparePaired(before, after, 0.95)
	require.NoError(t, err)
	require.Equal(t, gain.Faster, paired.Verdict)
	require.InEpsilon(t, loose.Ratio, paired.Ratio, 1e-12)
	require.InDelta(t, 1.03, paired.MedianRatio, 0.001)
	require.InDelta(t, 4, paired.DF, 0)

	short, err := gain.ComparePaired(before[:1], after[:1], 0.95)
	require.NoError(t, err)
	require.Equal(t, gain.Unknown, short.Verdict)
	require.NotEmpty(t, short.Warnings)
}

func TestPairedMoreRuns(t *testing.T) {
	c, err := gain.ComparePaired([]float64{100, 100, 100}, []float64{102, 100.5, 101.2}, 0.95)
	require.NoError(t, err)
	require.Equal(t, gain.Same, c.Verdict)
	require.Positive(t, c.MoreRuns)
}

func TestCompareRefuses(t *testing.T) {
	good := []float64{1, 2, 3}
	for name, call := range map[string]func() error{
		"empty":       func() error { _, err := gain.Compare(nil, good, 0.95); return err },
		"zero":        func() error { _, err := gain.Compare(good, []float64{0}, 0.95); return err },
		"negative":    func() error { _, err := gain.Compare([]float64{-1}, good, 0.95); return err },
		"NaN":         func() error { _, err := gain.Compare(good, []float64{math.NaN()}, 0.95); return err },
		"confidence":  func() error { _, err := gain.Compare(good, good, 0); return err },
		"overflow":    func() error { _, err := gain.Compare([]float64{1e-300}, []float64{1e300}, 0.95); return err },
		"no pairs":    func() error { _, err := gain.ComparePaired(good, good[:2], 0.95); return err },
		"pair zero":   func() error { _, err := gain.ComparePaired([]float64{1, 0}, []float64{1, 1}, 0.95); return err },
		"pair huge":   func() error { _, err := gain.ComparePaired([]float64{1e-300}, []float64{1e300}, 0.95); return err },
		"no workload": func() error { _, err := gain.Over(nil, 0.95); return err },
		"bad workload": func() error {
			_, err := gain.Over([]gain.Workload{{Name: "render", Before: good}}, 0.95)
			return err
		},
	} {
		require.True(t, fault.Is(call(), fault.Invalid), name)
	}
}

// Ratios chain: capped to tuned is capped to uncapped times uncapped to tuned.
// Swapping the sides turns the ratio over; the unit of the score is nothing.
func TestCompareProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		scores := rapid.SliceOfN(rapid.Float64Range(50, 200), 3, 8)
		a, b, c := scores.Draw(t, "a"), scores.Draw(t, "b"), scores.Draw(t, "c")
		kept := append([]float64(nil), a...)
		ab, err := gain.Compare(a, b, 0.95)
		require.NoError(t, err)
		bc, err := gain.Compare(b, c, 0.95)
		require.NoError(t, err)
		ac, err := gain.Compare(a, c, 0.95)
		require.NoError(t, err)
		ba, err := gain.Compare(b, a, 0.95)
		require.NoError(t, err)
		require.Equal(t, kept, a)
		require.InEpsilon(t, ac.Ratio, ab.Ratio*bc.Ratio, 1e-9)
		require.InEpsilon(t, 1, ab.Ratio*ba.Ratio, 1e-9)
		if ab.Verdict == gain.Unknown {
			return // all scores equal
		}
		require.True(t, ab.Interval.Contains(ab.Ratio))
		require.InEpsilon(t, 1, ab.Interval.Low*ba.Interval.High, 1e-9)
		for i := range b {
			b[i] *= 7
		}
		scaled, err := gain.Compare(a, b, 0.95)
		require.NoError(t, err)
		require.InEpsilon(t, 7*ab.Interval.Low, scaled.Interval.Low, 1e-9)
	})
}

type machines struct {
	R, M, Z []float64
	OverR   means `json:"over_r"`
	OverM   means `json:"over_m"`
	Totals  []float64
	MR      [2]float64 `json:"m_over_r_95"`
}

type means struct{ Arithmetic, Geometric []float64 }

func loadMachines(t *testing.T) machines {
	t.Helper()
	data, err := os.ReadFile("../../testdata/reference/gain-geometric.json")
	require.NoError(t, err)
	var m machines
	require.NoError(t, json.Unmarshal(data, &m))
	return m
}

// Fleming and Wallace 1986. Tolerance 1e-6; 1e-5 for the arithmetic means, as
// they are printed.
func TestFlemingWallace(t *testing.T) {
	ref := loadMachines(t)
	over := func(base, other []float64) (gain.Overall, float64) {
		var ws []gain.Workload
		var arithmetic float64
		for i := range base {
			ws = append(ws, gain.Workload{Name: fmt.Sprint(i), Before: base[i : i+1], After: other[i : i+1]})
			arithmetic += other[i] / base[i] / float64(len(base))
		}
		o, err := gain.Over(ws, 0.95)
		require.NoError(t, err)
		return o, arithmetic
	}
	for i, m := range [][]float64{ref.R, ref.M, ref.Z} {
		r, ar := over(ref.R, m)
		require.InDelta(t, ref.OverR.Geometric[i], r.Ratio, 1e-6)
		require.InDelta(t, ref.OverR.Arithmetic[i], ar, 1e-5)
		n, an := over(ref.M, m)
		require.InDelta(t, ref.OverM.Geometric[i], n.Ratio, 1e-6)
		require.InDelta(t, ref.OverM.Arithmetic[i], an, 1e-5)
		var total float64
		for _, v := range m {
			total += v
		}
		require.InDelta(t, ref.Totals[i], total, 0)
	}
	mr, _ := over(ref.R, ref.M)
	require.InDelta(t, ref.MR[0], mr.Interval.Low, 1e-6)
	require.InDelta(t, ref.MR[1], mr.Interval.High, 1e-6)
	require.Len(t, mr.Workloads, 5)
	require.Empty(t, mr.Warnings)
}

func TestOverOneWorkload(t *testing.T) {
	o, err := gain.Over([]gain.Workload{{Name: "render", Before: []float64{100, 101}, After: []float64{110, 111}}}, 0.95)
	require.NoError(t, err)
	require.Zero(t, o.Interval)
	require.Len(t, o.Warnings, 1)
	require.InEpsilon(t, o.Workloads[0].Ratio, o.Ratio, 1e-12)
}

// Common practice, no source: 8 % over the uncapped and 20 % over the capped
// baseline. Lifting the cap then gave 1.20/1.08, or 11.1 %; with 8.5 % it is 10.6 %.
func TestCapImpliedByBothBaselines(t *testing.T) {
	const capped = 1000.0
	for _, c := range []struct{ over, implied float64 }{{1.08, 11.1}, {1.085, 10.6}} {
		tuned := capped * 1.20
		uncapped := tuned / c.over
		whole, err := gain.Compare([]float64{capped}, []float64{tuned}, 0.95)
		require.NoError(t, err)
		part, err := gain.Compare([]float64{uncapped}, []float64{tuned}, 0.95)
		require.NoError(t, err)
		lifted, err := gain.Compare([]float64{capped}, []float64{uncapped}, 0.95)
		require.NoError(t, err)
		require.InDelta(t, 20, gain.Percent(whole.Ratio), 1e-9)
		require.InDelta(t, c.implied, gain.Percent(whole.Ratio/part.Ratio), 0.05)
		require.InDelta(t, gain.Percent(whole.Ratio/part.Ratio), gain.Percent(lifted.Ratio), 1e-9)
	}
}
