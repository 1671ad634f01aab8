package sample

import "math"

// moment is a sample within the stretch of load.
type moment struct {
	Sample
	loaded bool
}

// Limits of finding the load, all chosen.
const (
	bridge   = 30  // s of rest or of gap that do not end a load: bursts and pauses of a logger
	contrast = 1.4 // a load draws at least this multiple of what the same PC draws at rest
	smooth   = 5   // samples of the running median that hides single spikes
)

// signals are the quantities that tell load from rest, best first, each with
// the least difference between the two that counts.
var signals = []struct {
	q     Quantity
	least float64
}{{Power, 10}, {Busy, 30}, {Temp, 12}}

// underLoad returns the longest stretch of load in a series, and a sentence
// when the load could not be told from rest. A series that lies on one level
// throughout is all load.
func underLoad(samples []Sample) ([]moment, string) {
	all := make([]moment, len(samples))
	for i, s := range samples {
		all[i] = moment{s, true}
	}
	told := false
	for _, signal := range signals {
		line := runningMedian(samples, signal.q)
		if line == nil {
			continue
		}
		told = true
		low, high := math.Inf(1), math.Inf(-1)
		for _, x := range line {
			if !math.IsNaN(x) {
				low, high = min(low, x), max(high, x)
			}
		}
		if high-low < signal.least || high < contrast*low {
			break // one level
		}
		if signal.q == Temp {
			return all, "Neither power nor load was read, so idle time before and after the load may be included."
		}
		for i, x := range line {
			if math.IsNaN(x) {
				all[i].loaded = i > 0 && all[i-1].loaded
				continue
			}
			all[i].loaded = x > (low+high)/2
		}
		return longestLoad(all), ""
	}
	if !told {
		return all, "Neither power nor load was read, so every reading counts as under load."
	}
	return all, ""
}

// longestLoad returns the stretch with the most loaded seconds; rest of up to
// bridge seconds does not end one.
func longestLoad(all []moment) []moment {
	best, bestCount := all[:0], 0
	from, last, count := -1, -1, 0
	for i, x := range all {
		if !x.loaded {
			continue
		}
		if from >= 0 && x.At-all[last].At > bridge {
			from, count = -1, 0
		}
		if from < 0 {
			from = i
		}
		last, count = i, count+1
		if count > bestCount {
			best, bestCount = all[from:i+1], count
		}
	}
	return best
}

// runningMedian smooths one quantity; nil if it was hardly ever read.
func runningMedian(samples []Sample, q Quantity) []float64 {
	out := make([]float64, len(samples))
	seen := 0
	for i := range samples {
		var near []float64
		for j := max(0, i-smooth/2); j <= min(len(samples)-1, i+smooth/2); j++ {
			if x := samples[j].Values[q]; !math.IsNaN(x) {
				near = append(near, x)
			}
		}
		out[i] = math.NaN()
		if len(near) > 0 {
			out[i] = median(near)
			seen++
		}
	}
	if seen*2 < len(samples) {
		return nil
	}
	return out
}

// after returns the index of the first moment at least s seconds into a load.
func after(load []moment, s int) int {
	for i, x := range load {
		if x.At-load[0].At >= s {
			return i
		}
	}
	return len(load)
}

// lastThird returns the moments of the last third of a load's time.
func lastThird(load []moment) []moment {
	if len(load) == 0 {
		return load
	}
	span := load[len(load)-1].At - load[0].At
	return load[after(load, span*2/3):]
}

// read returns the values of q; only those under load if asked for.
func read(load []moment, q Quantity, loaded bool) []float64 {
	var out []float64
	for _, x := range load {
		if v := x.Values[q]; !math.IsNaN(v) && (x.loaded || !loaded) {
			out = append(out, v)
		}
	}
	return out
}
