package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"belay/internal/fault"
)

// PoissonInterval returns the exact two-sided interval for the mean of a
// Poisson count k >= 0 (Garwood, Biometrika 28, 1936, 437): half the
// chi-square quantiles with 2k and 2k+2 degrees of freedom. Divided by the
// hours watched it bounds a failure rate, for a test stopped by the clock.
func PoissonInterval(k int, conf float64) (Interval, error) {
	if err := checkCount(k, conf); err != nil {
		return Interval{}, err
	}
	tail := (1 - conf) / 2
	iv := Interval{Confidence: conf, High: halfChiSquare(1-tail, k+1)}
	if k > 0 {
		iv.Low = halfChiSquare(tail, k)
	}
	return iv, nil
}

// PoissonUpper returns the exact one-sided upper bound for the mean of a
// Poisson count k >= 0. With k = 0 it is -ln(1-conf).
func PoissonUpper(k int, conf float64) (float64, error) {
	if err := checkCount(k, conf); err != nil {
		return 0, err
	}
	if k == 0 {
		return -math.Log1p(-conf), nil
	}
	return halfChiSquare(conf, k+1), nil
}

// ClopperPearson returns the exact two-sided interval for a share, from k hits
// in n tries (Clopper and Pearson, Biometrika 26, 1934, 404).
func ClopperPearson(k, n int, conf float64) (Interval, error) {
	if err := checkShare(k, n, conf); err != nil {
		return Interval{}, err
	}
	tail := (1 - conf) / 2
	iv := Interval{Low: 0, High: 1, Confidence: conf}
	if k > 0 {
		iv.Low = betaQuantile(tail, float64(k), float64(n-k)+1)
	}
	if k < n {
		iv.High = betaQuantile(1-tail, float64(k)+1, float64(n-k))
	}
	return iv, nil
}

// BinomialUpper returns the exact one-sided upper bound for a share. For no
// hits in n tries it is 1-(1-conf)^(1/n), which is below the upper end of the
// two-sided interval.
func BinomialUpper(k, n int, conf float64) (float64, error) {
	if err := checkShare(k, n, conf); err != nil {
		return 0, err
	}
	switch k {
	case n:
		return 1, nil
	case 0:
		return -math.Expm1(math.Log1p(-conf) / float64(n)), nil
	}
	return betaQuantile(conf, float64(k)+1, float64(n-k)), nil
}

// Wilson returns the score interval for a share (Wilson, J. Am. Stat. Assoc.
// 22, 1927, 209): close to the stated confidence on average, not a bound.
func Wilson(k, n int, conf float64) (Interval, error) {
	if err := checkShare(k, n, conf); err != nil {
		return Interval{}, err
	}
	z := distuv.UnitNormal.Quantile(1 - (1-conf)/2)
	p, m := float64(k)/float64(n), float64(n)
	centre := p + z*z/(2*m)
	half := z * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	scale := 1 + z*z/m
	return Interval{
		Low:        math.Max(0, (centre-half)/scale),
		High:       math.Min(1, (centre+half)/scale),
		Confidence: conf,
	}, nil
}

// Jeffreys returns the equal-tailed posterior interval for a share under the
// prior Beta(1/2, 1/2), with the ends set to 0 and 1 where k is 0 or n
// (Brown, Cai and DasGupta, Statistical Science 16, 2001, 101).
func Jeffreys(k, n int, conf float64) (Interval, error) {
	if err := checkShare(k, n, conf); err != nil {
		return Interval{}, err
	}
	tail := (1 - conf) / 2
	a, b := float64(k)+0.5, float64(n-k)+0.5
	iv := Interval{Low: 0, High: 1, Confidence: conf}
	if k > 0 {
		iv.Low = betaQuantile(tail, a, b)
	}
	if k < n {
		iv.High = betaQuantile(1-tail, a, b)
	}
	return iv, nil
}

func halfChiSquare(p float64, k int) float64 {
	return distuv.ChiSquared{K: 2 * float64(k)}.Quantile(p) / 2
}

func betaQuantile(p, a, b float64) float64 { return distuv.Beta{Alpha: a, Beta: b}.Quantile(p) }

func checkCount(k int, conf float64) error {
	if k < 0 {
		return fault.Newf(fault.Invalid, "Count from 0 upwards.", "%d is not a count.", k)
	}
	return checkConfidence(conf)
}

func checkShare(k, n int, conf float64) error {
	if n < 1 || k > n {
		return fault.Newf(fault.Invalid, "Give the tries and how many of them counted.",
			"%d of %d is not a share.", k, n)
	}
	return checkCount(k, conf)
}
