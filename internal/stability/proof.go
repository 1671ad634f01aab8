package stability

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"belay/internal/fault"
)

// longestH bounds hours that are believed, ten years.
const longestH = maxMinutes / 60

// ModelFree returns what hours of running with failures show without any
// model of voltage, for a test stopped by the clock: the one-sided lower bound
// of the mean time between failures (h), the upper bound of the rate (per
// hour), and the point estimate (h), nil without failures.
//
//	mtbf >= 2 hours / chi2(confidence; 2 failures + 2)
//
// failures >= 0, hours > 0, confidence in (0, 1); otherwise an Invalid fault.
// Source: NIST/SEMATECH e-Handbook, section 8.4.5.1; Garwood, Biometrika 28
// (1936) 437.
func ModelFree(failures int, hours, confidence float64) (mtbfLowerH, rateUpperPerH float64, pointH *float64, err error) {
	if err := checkProof(failures, hours, confidence, "hours"); err != nil {
		return 0, 0, nil, err
	}
	mtbfLowerH = hours / lengthFactor(failures, confidence)
	if failures > 0 {
		point := hours / float64(failures)
		pointH = &point
	}
	return mtbfLowerH, 1 / mtbfLowerH, pointH, nil
}

// ModelFreeInterval returns the two-sided interval (h) of the mean time
// between failures at confidence, for a test stopped by the clock. Without
// failures the upper end is +Inf. Ranges and source as ModelFree.
func ModelFreeInterval(failures int, hours, confidence float64) (lowH, highH float64, err error) {
	if err := checkProof(failures, hours, confidence, "hours"); err != nil {
		return 0, 0, err
	}
	tail := (1 - confidence) / 2
	lowH, highH = hours/lengthFactor(failures, 1-tail), math.Inf(1)
	if failures > 0 {
		highH = 2 * hours / distuv.ChiSquared{K: 2 * float64(failures)}.Quantile(tail)
	}
	return lowH, highH, nil
}

// HoursNeeded returns how many hours of running with at most failures
// failures show a mean time between failures of targetH hours at confidence,
// without any model of voltage. Ranges and source as ModelFree.
func HoursNeeded(targetH, confidence float64, failures int) (float64, error) {
	if err := checkProof(failures, targetH, confidence, "target"); err != nil {
		return 0, err
	}
	return targetH * lengthFactor(failures, confidence), nil
}

// lengthFactor is test time over the mean time between failures shown.
func lengthFactor(failures int, confidence float64) float64 {
	if failures == 0 {
		return -math.Log1p(-confidence)
	}
	return distuv.ChiSquared{K: 2*float64(failures) + 2}.Quantile(confidence) / 2
}

func checkProof(failures int, hours, confidence float64, name string) error {
	f := fault.New(fault.Invalid, "A proof needs whole failures, hours above 0 and a confidence between 0 and 1.", "Correct the marked field.")
	if failures < 0 || failures > 1e6 {
		f.Fields = append(f.Fields, fault.Field{Field: "failures", Message: "A whole number from 0 to 1000000."})
	}
	if !(hours > 0 && hours <= longestH) {
		f.Fields = append(f.Fields, fault.Field{Field: name, Message: "Hours above 0 and up to ten years."})
	}
	if !(confidence > 0 && confidence < 1) {
		f.Fields = append(f.Fields, fault.Field{Field: "confidence", Message: "A number between 0 and 1, such as 0.95."})
	}
	if len(f.Fields) > 0 {
		return f
	}
	return nil
}
