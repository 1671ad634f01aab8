package contest

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/stats"
)

// beetles: Bliss, Ann. Appl. Biol. 22 (1935) 134; data as in Dobson and
// Barnett, An Introduction to Generalized Linear Models, table 7.2. Estimates
// and standard error computed with R glm, link probit.
func TestProbitOnBliss(t *testing.T) {
	x := []float64{1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839}
	n := []int{59, 60, 62, 56, 63, 59, 62, 60}
	killed := []int{6, 13, 18, 28, 52, 53, 61, 60}
	var shots []shot
	for i := range x {
		for k := range n[i] {
			shots = append(shots, shot{x[i], k < killed[i]})
		}
	}
	p, ok := fitProbit(shots)
	require.True(t, ok)
	require.InEpsilon(t, 19.72793421, 1/p.sigma, 1e-6)
	require.InEpsilon(t, 1.770852362, p.mu, 1e-8)
	require.InDelta(t, 0.003803337, p.quantile(0.5, 1)-p.mu, 1e-6)
	require.InEpsilon(t, p.mu+p.sigma*1.6448536269514722, p.quantile(0.95, 0), 1e-9)
}

// explosive is the run that Neyer, Technometrics 36 (1994) 61, prints as table
// 1: levels in metres.
var explosive = []shot{
	{1.00, false}, {1.20, false}, {1.40, false}, {1.80, false}, {2.60, false}, {4.20, true}, {3.40, false},
	{3.80, false}, {4.00, false}, {4.10, false}, {4.28, false}, {4.52, false}, {5.55, true}, {5.24, false},
	{6.37, true}, {6.08, false}, {7.38, true}, {7.09, true}, {6.89, true}, {6.74, true},
}

func TestProbitOnNeyer(t *testing.T) {
	for first, want := range map[int][2]float64{ // printed beside the next test
		13: {4.66, 0.50}, 14: {5.22, 0.96}, 15: {5.10, 0.83}, 16: {5.70, 1.39},
		17: {5.58, 1.25}, 18: {5.50, 1.16}, 19: {5.44, 1.09}, 20: {5.39, 1.04},
	} {
		p, ok := fitProbit(explosive[:first])
		require.True(t, ok)
		require.InDelta(t, want[0], p.mu, 0.00501, first)
		require.InDelta(t, want[1], p.sigma, 0.00501, first)
	}
	p, _ := fitProbit(explosive) // R glm, to more digits
	require.InDelta(t, 5.3921846, p.mu, 1e-6)
	require.InDelta(t, 1.0412250, p.sigma, 1e-6)
	require.InDelta(t, -5.7397625, p.likelihood, 1e-6)
	raw, _ := fitProbit(explosive[:11])
	require.InDelta(t, 4.299527, raw.mu, 1e-5)
	require.InDelta(t, 0.193205, raw.sigma, 1e-5)
	for n := range 11 { // separated: there is no estimate before the first overlap
		_, ok := fitProbit(explosive[:n])
		require.False(t, ok, n)
	}
}

// The method proposes every level of the printed run, which is rounded to
// 0.01 m (and to 0.05 m or so in the search).
func TestDOptimalProposesThePrintedRun(t *testing.T) {
	d := doptimal{low: 0.6, high: 1.4, sigma: 0.1}
	for i, s := range explosive {
		require.InDelta(t, s.x, d.next(), 0.0151, "test %d", i+1)
		d.add(s.x, s.response)
	}
}

// The two D-optimal levels lie 1.138 sigma from mu (Neyer 1994; Wu and Tian,
// J. Stat. Plan. Inference 149 (2014), quoting Morgan 1992).
func TestDOptimalPoints(t *testing.T) {
	z := stats.Minimum(func(z float64) float64 { return -weight(z) * z }, 0, 3, 1e-12)
	require.InDelta(t, 1.1381012773, z, 1e-6)
	require.InDelta(t, 0.8724609, stats.NormalCDF(z), 1e-6)
	d := doptimal{}
	for range 50 { // near-equal numbers at both points keep the next one there
		d.shots = append(d.shots, shot{10 - 2*z, true}, shot{10 + 2*z, true})
	}
	require.InDelta(t, 2*z, math.Abs(d.most(10, 2)-10), 1e-3)
}

// Gorla et al., Int. J. Appl. Eng. Res. 12 (2017) 11306, tables 6 and 9:
// staircase tests of gears. A response is a failed tooth; levels in kN.
func TestDixonMoodOnGears(t *testing.T) {
	gears := func(levels []float64, broke []int) []shot {
		var out []shot
		for i, x := range levels {
			out = append(out, shot{x, broke[i] == 1})
		}
		return out
	}
	six := gears([]float64{42, 41, 40, 39, 40, 41, 40, 41, 42, 41, 42, 41, 42}, []int{1, 1, 1, 0, 0, 1, 0, 0, 1, 0, 1, 0, 1})
	require.False(t, rarer(six))
	e, ok := fitDixonMood(six, 1, rarer(six))
	require.True(t, ok)
	require.Equal(t, 6, e.n)
	require.InDelta(t, 40.8333333, e.mu, 1e-6)
	require.InDelta(t, 0.5555556, e.m, 1e-6)
	require.InDelta(t, 0.94698, e.sigma, 1e-5)

	nine := gears([]float64{36, 35, 36, 37, 38, 39, 38, 37, 38, 37, 36, 35, 36, 37, 36}, []int{1, 0, 0, 0, 0, 1, 1, 0, 1, 1, 1, 0, 0, 1, 1})
	e, _ = fitDixonMood(nine, 1, true) // the failures, as printed: 36.63 kN, standard error 0.62
	require.InDelta(t, 36.63, e.mu, 0.00501)
	require.InDelta(t, 0.62, meanFactor*e.sigma/math.Sqrt(float64(e.n)), 0.005)
	require.InDelta(t, 1.109375, e.m, 1e-6)
	require.InDelta(t, 1.8441675, e.sigma, 1e-6)
	require.False(t, rarer(nine))
	e, _ = fitDixonMood(nine, 1, rarer(nine)) // the rarer outcome, as Dixon and Mood say
	require.InDelta(t, 36.7857143, e.mu, 1e-6)
	require.InDelta(t, 1.7661637, e.sigma, 1e-6)

	_, ok = fitDixonMood([]shot{{1, false}}, 1, true)
	require.False(t, ok)
}

// A posterior on a grid, computed with numpy to the digits given.
func TestThresholdOnASmallGrid(t *testing.T) {
	g := newGrade(1100, 1300, 1, func(float64) float64 { return 1 }, func(x float64) float64 { return stats.NormalCDF(x / 8) })
	for _, s := range []shot{{1250, true}, {1200, false}, {1225, true}, {1212, false}, {1218, true}, {1215, false}, {1217, true}} {
		g.add(s.x, s.response)
	}
	mean, sd := g.spread()
	require.InDelta(t, 1215.0038648, mean, 1e-6)
	require.InDelta(t, 4.8526526, sd, 1e-6)
	for share, want := range map[float64]float64{0.025: 1205, 0.5: 1215, 0.95: 1223, 0.975: 1224} {
		require.InDelta(t, want, g.quantile(share), 1e-9)
	}
	for x, want := range map[float64]float64{1225: 0.8573521, 1235: 0.9837612, 1245: 0.9993334} {
		require.InDelta(t, want, g.predict(x), 1e-6)
	}
}

// Worked by hand from the rule.
func TestLanglieRule(t *testing.T) {
	var shots []shot
	for _, c := range []struct {
		level    float64
		response bool
	}{
		{50, true},        // middle of 0 and 100
		{25, false},       // no balance: halfway to the lower limit
		{37.5, false},     // the last two balance: 25 and 50
		{68.75, true},     // no balance: halfway to the upper limit
		{53.125, true},    // the last two balance: 68.75 and 37.5
		{39.0625, true},   // back to the second the numbers are equal: 53.125 and 25
		{19.53125, false}, // no balance: halfway to the lower limit
	} {
		require.InDelta(t, c.level, langlieNext(shots, 0, 100), 1e-12)
		shots = append(shots, shot{c.level, c.response})
	}
}
