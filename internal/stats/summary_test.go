package stats_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/stats"
)

type series struct {
	Add    float64   `json:"add_km_s"`
	Values []float64 `json:"values"`
	First  float64   `json:"first"`
	Then   []float64 `json:"then"`
	Count  int       `json:"count"`
	Mean   float64   `json:"mean"`
	SD     float64   `json:"sd"`
	Lag1   float64   `json:"lag1"`

	CV            float64 `json:"cv"`
	EffectiveN    float64 `json:"effective_n"`
	FirstTwentySD float64 `json:"first_twenty_sd"`
	FirstTwentyCV float64 `json:"first_twenty_cv"`
}

func (s series) all() []float64 {
	if s.Count == 0 {
		out := make([]float64, len(s.Values))
		for i, v := range s.Values {
			out[i] = v + s.Add
		}
		return out
	}
	out := []float64{s.First}
	for len(out) < s.Count {
		out = append(out, s.Then[(len(out)-1)%2])
	}
	return out
}

// NIST StRD univariate, certified. Tolerance 1e-9 relative; 1e-8 for the
// deviation of NumAcc4, whose inputs a float64 holds no better.
func TestSummarizeCertified(t *testing.T) {
	var ref map[string]series
	load(t, "stats-nist-univariate", &ref)
	require.Len(t, ref, 4)
	for name, s := range ref {
		got, err := stats.Summarize(s.all())
		require.NoError(t, err)
		sdTol := 1e-9
		if name == "numacc4" {
			sdTol = 1e-8
		}
		relative(t, s.Mean, got.Mean, 1e-9, name)
		relative(t, s.SD, got.SD, sdTol, name)
		relative(t, s.Lag1, got.Lag1, 1e-9, name)
	}
}

// Michelson 1879: published repeats that drift. NIST StRD; the effective
// count is n(1-r)/(1+r), a textbook rule.
func TestDriftIsWarnedOf(t *testing.T) {
	var ref map[string]series
	load(t, "stats-nist-univariate", &ref)
	m := ref["michelson"]
	got, err := stats.Summarize(m.all())
	require.NoError(t, err)
	require.InDelta(t, m.EffectiveN, got.EffectiveN, 0.05)
	relative(t, m.CV, got.SD/got.Mean, 1e-7, "cv")
	require.Len(t, got.Warnings, 1)
	require.Contains(t, got.Warnings[0], "worth about 30")

	first, err := stats.Summarize(m.Values[:20])
	require.NoError(t, err)
	relative(t, m.FirstTwentySD, first.SD, 1e-9, "first twenty")
	relative(t, m.FirstTwentyCV, first.SD/first.Mean, 1e-6, "first twenty")
}

func TestSummarizeWarnings(t *testing.T) {
	cases := []struct {
		name string
		in   []float64
		want string
	}{
		{"one value", []float64{4}, "Only 1 value. Take 2 more to judge the spread."},
		{"two values", []float64{4, 5}, "Only 2 values. Take 1 more to judge the spread."},
		{"no spread", []float64{4, 4, 4}, "All values are equal"},
		{"spread of rounding", []float64{math.Log(6), math.Log(6), math.Log(6)}, "All values are equal"},
		{"short and a little alike", []float64{1, 2, 3, 2.5, 2}, ""},
		{"plain", []float64{4, 6, 5, 7, 3, 6}, ""},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got, err := stats.Summarize(c.in)
			require.NoError(t, err)
			if c.want == "" {
				require.Empty(t, got.Warnings)
				return
			}
			require.Len(t, got.Warnings, 1)
			require.Contains(t, got.Warnings[0], c.want)
		})
	}
}

// Plain adding loses the 1 beside 1e16.
func TestMeanKeepsSmallTerms(t *testing.T) {
	got, err := stats.Summarize([]float64{1e16, 1, -1e16})
	require.NoError(t, err)
	require.InDelta(t, 1.0/3, got.Mean, 1e-12)
}

func TestSummarizeRefuses(t *testing.T) {
	for _, in := range [][]float64{nil, {}, {math.NaN()}, {1, math.Inf(1)}, {math.MaxFloat64, math.MaxFloat64}, {1e200, -1e200}} {
		_, err := stats.Summarize(in)
		require.True(t, fault.Is(err, fault.Invalid), "%v gave %v", in, err)
	}
}

// Hyndman and Fan, Am. Stat. 50 (1996) 361, definition 7, by hand.
func TestQuantileLeavesInputAlone(t *testing.T) {
	in := []float64{9, 1, 5, 3}
	for _, c := range []struct{ p, want float64 }{{0, 1}, {0.25, 2.5}, {0.5, 4}, {0.9, 7.8}, {1, 9}} {
		got, err := stats.Quantile(in, c.p)
		require.NoError(t, err)
		require.InDelta(t, c.want, got, 1e-12)
	}
	_, err := stats.Summarize(in)
	require.NoError(t, err)
	require.Equal(t, []float64{9, 1, 5, 3}, in)
	for _, p := range []float64{-0.1, 1.1, math.NaN()} {
		_, err := stats.Quantile(in, p)
		require.True(t, fault.Is(err, fault.Invalid))
	}
}

func TestGeometricMean(t *testing.T) {
	got, err := stats.GeometricMean([]float64{1, 10, 100})
	require.NoError(t, err)
	require.InDelta(t, 10, got, 1e-12)
	for _, in := range [][]float64{nil, {1, 0}, {-1}, {math.NaN()}} {
		_, err := stats.GeometricMean(in)
		require.True(t, fault.Is(err, fault.Invalid))
	}
}

// The error of a median is exact: it agrees with drawing every resample.
func TestMedianErrorEqualsEveryResample(t *testing.T) {
	for _, in := range [][]float64{{3, 9}, {3, 9, 4}, {3, 9, 4, 1}, {2, 2, 5, 11, 7}, {8, 1, 4, 6, 2, 12}} {
		got, err := stats.Summarize(in)
		require.NoError(t, err)
		require.InDelta(t, everyResampleSE(t, in), got.MedianSE, 1e-10, "%v", in)
	}
}

// everyResampleSE enumerates all n^n resamples.
func everyResampleSE(t *testing.T, in []float64) float64 {
	t.Helper()
	n := len(in)
	total := int(math.Pow(float64(n), float64(n)))
	medians := make([]float64, total)
	draw := make([]float64, n)
	for k := range total {
		rest := k
		for i := range draw {
			draw[i] = in[rest%n]
			rest /= n
		}
		m, err := stats.Median(draw)
		require.NoError(t, err)
		medians[k] = m
	}
	s, err := stats.Summarize(medians)
	require.NoError(t, err)
	return s.SD * math.Sqrt(float64(total-1)/float64(total))
}

type mouse struct {
	Treatment    []float64 `json:"treatment"`
	Control      []float64 `json:"control"`
	MeanT        float64   `json:"mean_treatment"`
	MeanC        float64   `json:"mean_control"`
	Difference   float64   `json:"difference"`
	SET          float64   `json:"se_treatment"`
	SEC          float64   `json:"se_control"`
	SED          float64   `json:"se_difference"`
	DF           float64   `json:"df"`
	Low          float64   `json:"low"`
	High         float64   `json:"high"`
	P            float64   `json:"p"`
	BootMean     float64   `json:"bootstrap_se_mean"`
	BootMedian   float64   `json:"bootstrap_se_median"`
	MedianShares []float64 `json:"median_shares"`
}

func loadMouse(t *testing.T) mouse {
	var ref struct{ Mouse mouse }
	load(t, "stats-two-groups", &ref)
	return ref.Mouse
}

// Efron and Tibshirani 1993, tables 2.1 and 2.2. Tolerance 1e-6.
func TestMouseMedianError(t *testing.T) {
	m := loadMouse(t)
	got, err := stats.Summarize(m.Treatment)
	require.NoError(t, err)
	require.InDelta(t, m.BootMedian, got.MedianSE, 1e-6)
	require.InDelta(t, m.SET, got.SE, 1e-6)
	require.InDelta(t, m.BootMean, got.SE*math.Sqrt(6.0/7), 1e-6)
}

// A seeded bootstrap of 2000 draws falls within 5 % of the published limits,
// and takes each value as its median as often as published.
func TestMouseResampled(t *testing.T) {
	m := loadMouse(t)
	rng := rand.New(rand.NewPCG(1993, 2))
	const draws = 2000
	means, medians := make([]float64, draws), make([]float64, draws)
	lowest := 0
	for k := range draws {
		draw := make([]float64, len(m.Treatment))
		for i := range draw {
			draw[i] = m.Treatment[rng.IntN(len(m.Treatment))]
		}
		s, err := stats.Summarize(draw)
		require.NoError(t, err)
		means[k], medians[k] = s.Mean, s.Median
		if s.Median == 23 { // second smallest
			lowest++
		}
	}
	sMean, err := stats.Summarize(means)
	require.NoError(t, err)
	sMedian, err := stats.Summarize(medians)
	require.NoError(t, err)
	require.InEpsilon(t, m.BootMean, sMean.SD, 0.05)
	require.InEpsilon(t, m.BootMedian, sMedian.SD, 0.05)
	require.InDelta(t, m.MedianShares[1], float64(lowest)/draws, 0.02)
}
