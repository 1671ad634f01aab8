package stats

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"belay/internal/fault"
)

// NormalCDF returns P(Z <= z) of the standard normal distribution. NaN gives NaN.
func NormalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// NormalQuantile returns z with NormalCDF(z) = p, for 0 < p < 1.
func NormalQuantile(p float64) (float64, error) {
	if err := checkProbability(p); err != nil {
		return 0, err
	}
	return distuv.UnitNormal.Quantile(p), nil
}

// StudentTwoSided returns P(|T| >= |t|) of Student's t with df > 0 degrees of
// freedom, right in the far tail too: I_x(df/2, 1/2) with x = df/(df+t^2)
// (Abramowitz and Stegun 1964, 26.7.1).
func StudentTwoSided(t, df float64) (float64, error) {
	if err := checkFreedom(df); err != nil {
		return 0, err
	}
	if math.IsNaN(t) {
		return 0, fault.New(fault.Invalid, "The test value is not a number.", "Check the values compared.")
	}
	return mathext.RegIncBeta(df/2, 0.5, 1/(1+t*t/df)), nil
}

// StudentQuantile returns the p quantile of Student's t with df > 0 degrees
// of freedom, for 0 < p < 1. Degrees of freedom need not be whole.
func StudentQuantile(p, df float64) (float64, error) {
	if err := checkFreedom(df); err != nil {
		return 0, err
	}
	if err := checkProbability(p); err != nil {
		return 0, err
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p), nil
}

// ChiSquareCDF returns P(X <= x) of chi-square with df > 0 degrees of freedom.
func ChiSquareCDF(x, df float64) (float64, error) {
	if err := checkFreedom(df); err != nil {
		return 0, err
	}
	if math.IsNaN(x) {
		return 0, fault.New(fault.Invalid, "The chi-square value is not a number.", "Check the values given.")
	}
	if x <= 0 {
		return 0, nil
	}
	return distuv.ChiSquared{K: df}.CDF(x), nil
}

// ChiSquareQuantile returns the p quantile of chi-square with df > 0 degrees
// of freedom, for 0 < p < 1.
func ChiSquareQuantile(p, df float64) (float64, error) {
	if err := checkFreedom(df); err != nil {
		return 0, err
	}
	if err := checkProbability(p); err != nil {
		return 0, err
	}
	return distuv.ChiSquared{K: df}.Quantile(p), nil
}

func checkFreedom(df float64) error {
	if df > 0 && finite(df) {
		return nil
	}
	return fault.Newf(fault.Invalid, "Give more values, so that the spread can be judged.",
		"%v degrees of freedom are not enough.", df)
}
