// Package stats holds the statistics that the models share: summaries,
// intervals, comparisons of two groups, and least-squares fits.
//
// Three rules hold for every function. It never panics on data and never
// changes or sorts a slice of the caller. Empty input, NaN and infinities
// are Invalid faults. A result that rests on too little, or on data that
// break an assumption, says so in its Warnings.
package stats

import (
	"fmt"
	"math"

	"belay/internal/fault"
)

// Interval is a range for a quantity at a confidence between 0 and 1.
type Interval struct {
	Low, High  float64
	Confidence float64
}

// Contains reports whether v lies in the interval, ends included.
func (i Interval) Contains(v float64) bool { return v >= i.Low && v <= i.High }

// Width returns High - Low.
func (i Interval) Width() float64 { return i.High - i.Low }

// finite reports whether v is a number.
func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// checkValues returns an Invalid fault for no values and for a value that is
// not a finite number.
func checkValues(xs []float64) error {
	if len(xs) == 0 {
		return fault.New(fault.Invalid, "There are no values to work with.", "Give at least one number.")
	}
	for i, x := range xs {
		if !finite(x) {
			return fault.Newf(fault.Invalid, "Remove it or type it again.", "Value %d is not a finite number.", i+1)
		}
	}
	return nil
}

// checkConfidence returns an Invalid fault unless 0 < conf < 1.
func checkConfidence(conf float64) error {
	if conf > 0 && conf < 1 {
		return nil
	}
	return fault.Newf(fault.Invalid, "Use a confidence between 0 and 1, such as 0.95.",
		"%v is not a confidence.", conf)
}

// checkProbability returns an Invalid fault unless 0 < p < 1.
func checkProbability(p float64) error {
	if p > 0 && p < 1 {
		return nil
	}
	return fault.Newf(fault.Invalid, "Use a probability between 0 and 1, both excluded.",
		"%v is not a probability that has a quantile.", p)
}

// counted prints a count with its noun: "1 value", "3 values".
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
