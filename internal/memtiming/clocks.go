// Package memtiming computes what memory settings mean: true latency,
// bandwidth, the timings that follow from others, which combinations are
// legal, what to try next, which voltages are usual, and what a memory check
// has shown or its errors suggest.
//
// Rules, assumptions and sources: docs/models/memory.md.
package memtiming

import (
	"math"

	"belay/internal/fault"
)

// Standard is a memory standard.
type Standard string

// The standards that desktop boards take.
const (
	DDR4 Standard = "ddr4"
	DDR5 Standard = "ddr5"
)

// ddr4Cycles holds the clock period in ps that DDR4 names for its rates in
// MT/s. Source: JESD79-4 (from memory).
var ddr4Cycles = map[int]int{
	1600: 1250, 1866: 1071, 2133: 937, 2400: 833, 2666: 750, 2933: 682, 3200: 625,
}

// Cycle returns the clock period in whole ps, as the standard's rounding rules
// take it: the named period of a standard DDR4 rate, else 2000000/rate cut to
// whole ps. The rate is in MT/s, which is twice the clock in MHz. It returns an
// Invalid fault for an unknown standard or a rate that the standard lacks.
func Cycle(std Standard, rate int) (int, error) {
	if err := checkRate(std, rate); err != nil {
		return 0, err
	}
	if ps, ok := ddr4Cycles[rate]; ok && std == DDR4 {
		return ps, nil
	}
	return 2_000_000 / rate, nil
}

// Lowest and highest rate that is accepted, in MT/s. Lowest: first bins of
// JESD79-4 and JESD79-5. Highest: chosen, above any kit sold for a desktop.
var rateRange = map[Standard][2]int{DDR4: {1600, 6000}, DDR5: {3200, 12000}}

func checkRate(std Standard, rate int) error {
	r, ok := rateRange[std]
	if !ok {
		return fault.Newf(fault.Invalid, "Choose ddr4 or ddr5.", "The memory standard %q is not known.", std)
	}
	if rate < r[0] || rate > r[1] {
		return fault.Newf(fault.Invalid, "Enter the data rate in MT/s, which is twice the clock in MHz.",
			"The data rate must lie between %d and %d MT/s.", r[0], r[1])
	}
	return nil
}

// Clocks converts a minimum time in ns to whole clocks by the standard's
// rounding rule, which forgives a little so that a period cut to whole ps does
// not cost a clock:
//
//	DDR4: trunc((trunc(ps·1000/tCK) + 974)/1000), JEDEC 21-C annex L
//	DDR5: trunc((trunc(ps·997/tCK) + 1000)/1000), JESD79-5
//
// (both from memory; the write recovery rows of docs/models/memory.md agree
// with presets published by others). The time is taken in whole ps and must
// lie between 0 and 1 ms.
func Clocks(std Standard, ns float64, rate int) (int, error) {
	tck, err := Cycle(std, rate)
	if err != nil {
		return 0, err
	}
	if !(ns >= 0 && ns <= 1e6) {
		return 0, fault.New(fault.Invalid, "The time must lie between 0 ns and 1 ms.", "Enter the time in ns.")
	}
	ps := int(math.Round(ns * 1000))
	if std == DDR4 {
		return (ps*1000/tck + 974) / 1000, nil
	}
	return (ps*997/tck + 1000) / 1000, nil
}

// CASFor returns the smallest legal CL for a CAS time in ns: DDR5 allows even
// values only (JESD79-5).
func CASFor(std Standard, ns float64, rate int) (int, error) {
	n, err := Clocks(std, ns, rate)
	if err == nil && std == DDR5 && n%2 == 1 {
		n++
	}
	return n, err
}

// Nanoseconds returns the true time of a number of clocks at a data rate:
// 2000·clocks/rate.
func Nanoseconds(clocks, rate int) float64 { return 2000 * float64(clocks) / float64(rate) }

// PeakBandwidth returns GB/s (1e9 bytes) of channels 64 bits wide:
// rate·8 bytes·channels/1000. A DDR5 channel is two halves of 32 bits and
// counts once.
func PeakBandwidth(rate, channels int) float64 { return float64(rate) * 8 * float64(channels) / 1000 }
