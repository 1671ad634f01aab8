package stats

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/mathext"

	"belay/internal/fault"
)

const (
	// enoughValues: below it a standard deviation is uncertain by a factor
	// of two or more (chi-square, 2 degrees of freedom). Chosen: three is the
	// least that a person will repeat.
	enoughValues = 3
	// strongLag1 is the least lag-1 autocorrelation that is warned about.
	// Chosen: at 0.3 the effective count is about half the count.
	strongLag1 = 0.3
	// roundingShare is the deviation beside the largest value that is rounding
	// and counts as none. Chosen: some hundred times the machine epsilon.
	roundingShare = 1e-13
	// largestExactMedian bounds the exact median error for an even count,
	// whose cost grows with the square. Chosen: far above any hand-made list.
	largestExactMedian = 2000
)

// Summary describes one group of values in the order in which they were taken.
// Spread figures are zero where the count allows none; Warnings then say so.
type Summary struct {
	N        int
	Mean     float64
	SD       float64 // with n-1
	SE       float64 // of the mean, SD/sqrt(N)
	Median   float64
	MedianSE float64 // ideal bootstrap (Efron 1979), exact; 0 for N > 2000 and even
	Min, Max float64
	Lag1     float64 // autocorrelation of neighbours
	// EffectiveN is N(1-r)/(1+r) with r = Lag1, never above N: how many
	// independent values the group is worth.
	EffectiveN float64
	Warnings   []string
}

// Summarize describes xs. The mean and the deviation are found in two passes
// with compensated sums, so that a large common offset does no harm. A spread
// that is mere rounding counts as none.
func Summarize(xs []float64) (Summary, error) {
	if err := checkValues(xs); err != nil {
		return Summary{}, err
	}
	s := Summary{N: len(xs), Mean: mean(xs), EffectiveN: float64(len(xs))}
	sorted := sortedCopy(xs)
	s.Min, s.Max = sorted[0], sorted[len(sorted)-1]
	s.Median = quantileSorted(sorted, 0.5)
	if s.N > 1 {
		s.SD, s.Lag1 = spread(xs, s.Mean)
		if s.SD <= roundingShare*math.Max(math.Abs(s.Min), math.Abs(s.Max)) {
			s.SD, s.Lag1 = 0, 0
		}
		s.SE = s.SD / math.Sqrt(float64(s.N))
		s.MedianSE = medianSE(sorted)
	}
	if !finite(s.Mean) || !finite(s.SD) {
		return Summary{}, fault.New(fault.Invalid, "The values are too large to average.", "Use a larger unit.")
	}
	if s.Lag1 > 0 {
		s.EffectiveN = math.Max(1, float64(s.N)*(1-s.Lag1)/(1+s.Lag1))
	}
	s.Warnings = s.warn()
	return s, nil
}

func (s Summary) warn() []string {
	var w []string
	if s.N < enoughValues {
		w = append(w, fmt.Sprintf("Only %s. Take %d more to judge the spread.", counted(s.N, "value"), enoughValues-s.N))
	}
	if s.N > 1 && s.SD == 0 {
		w = append(w, "All values are equal, so the spread is unknown. The meter may round.")
	}
	// 1.96/sqrt(n): the band of a series without memory (Box and Jenkins 1970).
	if s.Lag1 > math.Max(strongLag1, 1.96/math.Sqrt(float64(s.N))) {
		w = append(w, fmt.Sprintf("Neighbouring values move together. %d values are worth about %.0f.", s.N, s.EffectiveN))
	}
	return w
}

// Median returns the middle value, or the mean of the two middle values.
func Median(xs []float64) (float64, error) { return Quantile(xs, 0.5) }

// Quantile returns the p quantile, 0 <= p <= 1, by linear interpolation
// between order statistics (Hyndman and Fan 1996, definition 7).
func Quantile(xs []float64, p float64) (float64, error) {
	if err := checkValues(xs); err != nil {
		return 0, err
	}
	if !(p >= 0 && p <= 1) {
		return 0, fault.Newf(fault.Invalid, "Use a share from 0 to 1.", "%v is not a quantile.", p)
	}
	return quantileSorted(sortedCopy(xs), p), nil
}

// GeometricMean returns exp of the mean logarithm of positive values: the mean
// that does not depend on the base when ratios are compared (Fleming and
// Wallace, CACM 29, 1986, 218).
func GeometricMean(xs []float64) (float64, error) {
	logs, err := Logs(xs)
	if err != nil {
		return 0, err
	}
	return math.Exp(mean(logs)), nil
}

// Logs returns the natural logarithms of positive values in a new slice.
func Logs(xs []float64) ([]float64, error) {
	if err := checkValues(xs); err != nil {
		return nil, err
	}
	logs := make([]float64, len(xs))
	for i, x := range xs {
		if x <= 0 {
			return nil, fault.Newf(fault.Invalid, "Give values above 0.", "Value %d is %v, not above 0.", i+1, x)
		}
		logs[i] = math.Log(x)
	}
	return logs, nil
}

// sum adds with the correction of Neumaier (1974).
func sum(xs []float64) float64 {
	var total, lost float64
	for _, x := range xs {
		t := total + x
		if math.Abs(total) >= math.Abs(x) {
			lost += (total - t) + x
		} else {
			lost += (x - t) + total
		}
		total = t
	}
	return total + lost
}

func mean(xs []float64) float64 { return sum(xs) / float64(len(xs)) }

// spread returns the standard deviation (n-1) and the lag-1 autocorrelation
// about m, for at least two values.
func spread(xs []float64, m float64) (sd, lag1 float64) {
	squares := make([]float64, len(xs))
	products := make([]float64, len(xs)-1)
	for i, x := range xs {
		d := x - m
		squares[i] = d * d
		if i > 0 {
			products[i-1] = d * (xs[i-1] - m)
		}
	}
	ss := sum(squares)
	if ss == 0 {
		return 0, 0
	}
	return math.Sqrt(ss / float64(len(xs)-1)), sum(products) / ss
}

func sortedCopy(xs []float64) []float64 {
	c := append([]float64(nil), xs...)
	sort.Float64s(c)
	return c
}

func quantileSorted(sorted []float64, p float64) float64 {
	h := p * float64(len(sorted)-1)
	i := int(math.Floor(h))
	if i >= len(sorted)-1 {
		return sorted[len(sorted)-1]
	}
	// Two halves, so that far-apart ends do not overflow.
	f := h - float64(i)
	return (1-f)*sorted[i] + f*sorted[i+1]
}

// medianSE returns the standard deviation of the median over all resamples of
// the sorted values, without drawing any: resamples take index i as their
// middle with a known probability (Efron 1979; Maritz and Jarrett 1978).
func medianSE(sorted []float64) float64 {
	n := len(sorted)
	var m1, m2 float64
	base := sorted[n/2]
	add := func(p, value float64) {
		d := value - base
		m1 += p * d
		m2 += p * d * d
	}
	if n%2 == 1 {
		for i := range sorted {
			add(middleAt(n, n/2+1, i+1), sorted[i])
		}
	} else if n <= largestExactMedian {
		evenMedians(sorted, add)
	}
	return math.Sqrt(math.Max(0, m2-m1*m1))
}

// middleAt returns the probability that the r-th smallest of n draws from
// 1..n is i.
func middleAt(n, r, i int) float64 {
	atMost := func(j int) float64 {
		return mathext.RegIncBeta(float64(r), float64(n-r+1), float64(j)/float64(n))
	}
	return atMost(i) - atMost(i-1)
}

// evenMedians gives add every pair of middle indexes with its probability:
// half of the draws at or below i, one of them i, the others at or above j.
func evenMedians(sorted []float64, add func(p, value float64)) {
	n := len(sorted)
	half := float64(n / 2)
	share := func(j int) float64 { return math.Pow(float64(j)/float64(n), half) }
	lg, _ := math.Lgamma(float64(n) + 1)
	lh, _ := math.Lgamma(half + 1)
	ways := math.Exp(lg - 2*lh)
	for i := 1; i <= n; i++ {
		same := middleAt(n, n/2, i)
		below := share(i) - share(i-1)
		for j := i + 1; j <= n; j++ {
			p := ways * below * (share(n-j+1) - share(n-j))
			same -= p
			add(p, (sorted[i-1]+sorted[j-1])/2)
		}
		add(math.Max(0, same), sorted[i-1])
	}
}
