package gain

import (
	"fmt"
	"math"

	"belay/internal/fault"
	"belay/internal/stats"
)

// Workload is one kind of work with its scores on both sides.
type Workload struct {
	Name          string
	Before, After []float64
}

// Overall is the gain over several workloads.
type Overall struct {
	Ratio float64 // geometric mean of the workloads' ratios
	// Interval spans the scatter between workloads: where the gain of such
	// work lies on average. Zero for fewer than two workloads or no scatter.
	Interval  stats.Interval
	Workloads []Comparison // in the order given
	Warnings  []string
}

// Over compares each workload by itself and takes the geometric mean of the
// ratios, which does not depend on the side taken as the base (Fleming and
// Wallace, CACM 29, 1986, 218).
func Over(workloads []Workload, conf float64) (Overall, error) {
	if len(workloads) == 0 {
		return Overall{}, fault.New(fault.Invalid, "There is no workload to compare.", "Score at least one kind of work.")
	}
	var o Overall
	logs := make([]float64, len(workloads))
	for i, w := range workloads {
		c, err := Compare(w.Before, w.After, conf)
		if err != nil {
			return Overall{}, fault.Wrap("workload "+w.Name, err)
		}
		o.Workloads = append(o.Workloads, c)
		logs[i] = math.Log(c.Ratio)
	}
	t, err := stats.OneSample(logs, conf)
	if err != nil {
		return Overall{}, fault.Wrap("workloads", err)
	}
	o.Ratio = math.Exp(t.Difference)
	if t.Tested {
		o.Interval = stats.Interval{Low: math.Exp(t.Interval.Low), High: math.Exp(t.Interval.High), Confidence: conf}
	}
	if n := len(workloads); n < enoughRuns {
		o.Warnings = append(o.Warnings, fmt.Sprintf("Only %d of %d kinds of work that an overall gain should rest on.", n, enoughRuns))
	}
	return o, nil
}
