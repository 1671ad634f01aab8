// Package sample holds readings taken over time while a load runs, and
// reduces them to what a trial keeps.
//
// Live sensors and a log of another program both end here, so that the same
// readings give the same result wherever they came from.
package sample

import (
	"math"
	"slices"

	"belay/internal/fault"
)

// Quantity is a thing that is measured over time.
type Quantity int

const (
	Voltage  Quantity = iota // core voltage at the die, V
	Temp                     // hottest core, °C
	Power                    // package power, W
	Clock                    // the clock that most cores hold, MHz
	Busy                     // share of the cores at work, %
	Throttle                 // a count that grows, or a flag above 0, while the processor slows itself down
	quantities
)

// Quantities lists every quantity.
var Quantities = []Quantity{Voltage, Temp, Power, Clock, Busy, Throttle}

// traits are what Belay knows of a quantity: its name in the API, its unit,
// and the range outside which a value is a sensor's way to say "not read".
// Chosen: wider than any desktop processor; many loggers write 0, -1 or 255
// for a missing sensor.
var traits = [quantities]struct {
	name, unit, label string
	low, high         float64
}{
	Voltage:  {"load_voltage_v", "V", "Core voltage", 0.2, 2.2},
	Temp:     {"core_temp_c", "°C", "Hottest core", 1, 125},
	Power:    {"package_power_w", "W", "Package power", 0.5, 2000},
	Clock:    {"clock_mhz", "MHz", "Core clock", 100, 10000},
	Busy:     {"busy_percent", "%", "Load of the processor", 0, 100},
	Throttle: {"throttle", "pieces", "Slowed down", 0, math.MaxFloat64},
}

// String returns the name of q in the API.
func (q Quantity) String() string { return traits[q].name }

// Unit returns the symbol of the unit that q is kept in.
func (q Quantity) Unit() string { return traits[q].unit }

// Label names q for a person.
func (q Quantity) Label() string { return traits[q].label }

// Named returns the quantity with this name in the API.
func Named(name string) (Quantity, bool) {
	i := slices.IndexFunc(Quantities, func(q Quantity) bool { return q.String() == name })
	return Quantity(max(i, 0)), i >= 0
}

// Values are readings at one moment, by quantity. NaN means "not read".
type Values [quantities]float64

// None returns values of which nothing was read.
func None() Values {
	var v Values
	for i := range v {
		v[i] = math.NaN()
	}
	return v
}

// Combine makes one value of several sensors of q: the highest temperature
// and count, the median clock, the mean of anything else. NaN is left out;
// NaN if nothing is left.
func Combine(q Quantity, values []float64) float64 {
	read := make([]float64, 0, len(values))
	for _, x := range values {
		if !math.IsNaN(x) {
			read = append(read, x)
		}
	}
	switch {
	case len(read) == 0:
		return math.NaN()
	case q == Temp || q == Throttle:
		return slices.Max(read)
	case q == Clock:
		return median(read)
	}
	return mean(read)
}

// Sample is what was read within one second.
type Sample struct {
	At int // whole seconds since the first reading
	Values
}

// longest bounds a series, in seconds. Chosen: two days, four times the
// longest trial of the guide; it bounds the memory that a log can take.
const longest = 48 * 3600

// Series gathers readings into samples of one second each. The zero value is
// ready to use.
type Series struct {
	samples []Sample
	counts  [quantities]int // readings in the open second
	started bool
	first   float64
	dropped [quantities]int
}

// Add takes readings of the moment at, in seconds on any clock that does not
// run backwards. Readings nearest to one whole second become their mean, temperatures and
// counts their highest. A value out of any range counts as not read. It
// returns a Limit fault when the series spans more than two days.
func (s *Series) Add(at float64, v Values) error {
	if !s.started {
		s.started, s.first = true, at
	}
	second := 0
	if n := len(s.samples); n > 0 {
		second = s.samples[n-1].At
	}
	if d := math.Round(at - s.first); d > float64(longest) {
		return fault.New(fault.Limit, "The readings span more than two days.", "Cut them to the time of the trial, and send that.")
	} else if d >= 0 {
		second = max(second, int(d))
	}
	if n := len(s.samples); n == 0 || s.samples[n-1].At != second {
		s.samples = append(s.samples, Sample{At: second, Values: None()})
		s.counts = [quantities]int{}
	}
	open := &s.samples[len(s.samples)-1]
	for q, x := range v {
		if math.IsNaN(x) {
			continue
		}
		if !plausible(Quantity(q), x) {
			s.dropped[q]++
			continue
		}
		n := float64(s.counts[q])
		switch {
		case n == 0:
			open.Values[q] = x
		case Quantity(q) == Temp || Quantity(q) == Throttle:
			open.Values[q] = max(open.Values[q], x)
		default:
			open.Values[q] += (x - open.Values[q]) / (n + 1)
		}
		s.counts[q]++
	}
	return nil
}

// Samples returns the samples so far, one for each second with readings, in
// order. They belong to the series.
func (s *Series) Samples() []Sample { return s.samples }

func plausible(q Quantity, x float64) bool { return x >= traits[q].low && x <= traits[q].high }

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// quantile returns the value below which the share p of x lies, linear
// between neighbours (type 7 of Hyndman and Fan, Am. Stat. 50 (1996) 361).
// x is not changed and not empty.
func quantile(x []float64, p float64) float64 {
	sorted := slices.Sorted(slices.Values(x))
	at := p * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}

func median(x []float64) float64 { return quantile(x, 0.5) }
