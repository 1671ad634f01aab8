package stats

import (
	"fmt"
	"math"

	"belay/internal/fault"
)

// Comparison is the difference of two means, or the mean of paired
// differences, with its test against zero.
type Comparison struct {
	Difference float64
	SE         float64
	// Tested is false where the data allow no test: a group with fewer than
	// two values, or no spread at all. T, DF, P and Interval are then zero
	// and say nothing; Warnings say what is missing.
	Tested   bool
	T, DF    float64
	P        float64 // two-sided
	Interval Interval
	Warnings []string
}

// Welch compares the means of two independent groups that may differ in
// spread; Difference is mean(a) - mean(b). Degrees of freedom by Welch
// (Biometrika 34, 1947, 28) and Satterthwaite (1946).
func Welch(a, b []float64, conf float64) (Comparison, error) {
	if err := checkConfidence(conf); err != nil {
		return Comparison{}, err
	}
	sa, err := Summarize(a)
	if err != nil {
		return Comparison{}, fault.Wrap("first group", err)
	}
	sb, err := Summarize(b)
	if err != nil {
		return Comparison{}, fault.Wrap("second group", err)
	}
	c := Comparison{Difference: sa.Mean - sb.Mean}
	c.Warnings = append(prefixed("First group: ", sa.Warnings), prefixed("Second group: ", sb.Warnings)...)
	if sa.N < 2 || sb.N < 2 {
		return c, nil
	}
	va, vb := sa.SE*sa.SE, sb.SE*sb.SE
	return c.test(math.Sqrt(va+vb), WelchFreedom(va, sa.N, vb, sb.N), conf)
}

// WelchFreedom returns the Welch-Satterthwaite degrees of freedom of a sum of
// two squared standard errors va and vb from groups of na and nb values. It is
// 0 where either group has fewer than two values or both errors are zero.
func WelchFreedom(va float64, na int, vb float64, nb int) float64 {
	if na < 2 || nb < 2 || va+vb <= 0 {
		return 0
	}
	// Shares keep tiny and huge variances from under- and overflowing.
	pa, pb := va/(va+vb), vb/(va+vb)
	return 1 / (pa*pa/float64(na-1) + pb*pb/float64(nb-1))
}

// Paired compares a[i] with b[i], run for run: the mean of a[i] - b[i]
// (Student, Biometrika 6, 1908, 1). Both slices have the same length.
func Paired(a, b []float64, conf float64) (Comparison, error) {
	if len(a) != len(b) {
		return Comparison{}, fault.Newf(fault.Invalid, "Give one value after for each value before.",
			"%d and %d values do not make pairs.", len(a), len(b))
	}
	if err := checkConfidence(conf); err != nil {
		return Comparison{}, err
	}
	if err := checkValues(a); err != nil {
		return Comparison{}, fault.Wrap("first group", err)
	}
	if err := checkValues(b); err != nil {
		return Comparison{}, fault.Wrap("second group", err)
	}
	d := make([]float64, len(a))
	for i := range a {
		d[i] = a[i] - b[i]
	}
	return OneSample(d, conf)
}

// OneSample tests the mean of xs against zero (Student 1908).
func OneSample(xs []float64, conf float64) (Comparison, error) {
	if err := checkConfidence(conf); err != nil {
		return Comparison{}, err
	}
	s, err := Summarize(xs)
	if err != nil {
		return Comparison{}, err
	}
	c := Comparison{Difference: s.Mean, Warnings: s.Warnings}
	if s.N < 2 {
		return c, nil
	}
	return c.test(s.SE, float64(s.N-1), conf)
}

// test fills in the t test for a known standard error. A zero error, which a
// meter that rounds produces, gives no test; the summaries have warned of it.
func (c Comparison) test(se, df, conf float64) (Comparison, error) {
	if se == 0 {
		return c, nil
	}
	q, err := StudentQuantile(1-(1-conf)/2, df)
	if err != nil {
		return Comparison{}, err
	}
	c.SE, c.DF, c.T = se, df, c.Difference/se
	if c.P, err = StudentTwoSided(c.T, df); err != nil {
		return Comparison{}, err
	}
	c.Interval = Interval{Low: c.Difference - q*se, High: c.Difference + q*se, Confidence: conf}
	c.Tested = true
	return c, nil
}

func prefixed(p string, ws []string) []string {
	out := make([]string, 0, len(ws))
	for _, w := range ws {
		out = append(out, fmt.Sprint(p, w))
	}
	return out
}
