package memtiming

import (
	"math"

	"belay/internal/fault"
)

// Refresh times by chip density in Gbit, in ns.
// Source: JESD79-4 tRFC1 and JESD79-5 tRFC1 (DDR4 and the first two of DDR5 read
// in published simulators, others from memory).
var refreshTime = map[Standard]map[int]float64{
	DDR4: {2: 160, 4: 260, 8: 350, 16: 550},
	DDR5: {8: 195, 16: 295, 24: 410, 32: 410},
}

// Refresh interval up to 85 °C in ns; above 85 °C it is halved.
// Source: JESD79-4, JESD79-5.
var refreshInterval = map[Standard]float64{DDR4: 7800, DDR5: 3900}

// Activation windows of DDR4 for chips 8 bits wide, by rate: tFAW and the
// long and short row-to-row delays in ns. Above 3200 MT/s the last row holds.
// Source: JESD79-4 (nFAW and nRRD_L read in a published simulator, short delay
// from memory).
var ddr4Windows = []struct {
	rate             int
	faw, long, short float64
}{
	{1600, 25, 6, 5}, {1866, 23, 5.3, 4.2}, {2133, 21, 5.3, 3.7}, {2400, 21, 4.9, 3.3},
	{2666, 21, 4.9, 3.0}, {2933, 21, 4.9, 2.7}, {3200, 21, 4.9, 2.5},
}

// Write latency of DDR4 by rate, first set. Above 3200 MT/s: 20 clocks or CL,
// whichever is less. Source: JESD79-4 (from memory).
var ddr4Write = map[int]int{1600: 9, 1866: 10, 2133: 11, 2400: 12, 2666: 14, 2933: 16, 3200: 16}

// Further times in ns and least clocks, for both standards.
// Source: JESD79-4 and JESD79-5 (from memory; write recovery seen).
const (
	readToPrecharge  = 7.5 // ns
	ddr4ReadLeast    = 4   // clocks
	ddr5ReadLeast    = 12
	ddr4WriteRecover = 15.0 // ns
	ddr5WriteRecover = 30.0
	ddr4ShortLeast   = 4 // clocks
	ddr4FAWLeast     = 20
	ddr5RowToRow     = 8 // clocks, both kinds
	ddr5RowToRowLong = 5 // ns
	ddr5FAW          = 32
)

// hotRefresh is the temperature above which refresh must come twice as often,
// in °C. Source: JESD79-4, JESD79-5.
const hotRefresh = 85.0

// Dependent holds the timings that follow from the standard, rate and chips, in
// clocks unless named otherwise. They are the standard's minimum, but
// RefreshEvery, which is its maximum.
type Dependent struct {
	RowCycle        int     // tRC = tRAS + tRP
	WriteLatency    int     // tCWL
	WriteRecovery   int     // tWR
	ReadToPrecharge int     // tRTP
	RowToRowShort   int     // tRRD_S, chips 8 bits wide
	RowToRowLong    int     // tRRD_L, chips 8 bits wide
	FourActivates   int     // tFAW, chips 8 bits wide
	Refresh         int     // tRFC
	RefreshEvery    int     // tREFI
	RefreshShare    float64 // tRFC/tREFI, share of time lost to refresh, 0 to 1
}

// Dependents computes them for settings with chips of a density in Gbit at a
// memory temperature in °C (0 = not known, taken as cool). It returns an
// Invalid fault for a rate or a density that the standard lacks.
func Dependents(s Settings, densityGb int, tempC float64) (Dependent, error) {
	tck, err := Cycle(s.Standard, s.Rate)
	if err != nil {
		return Dependent{}, err
	}
	refresh, ok := refreshTime[s.Standard][densityGb]
	if !ok {
		return Dependent{}, fault.Newf(fault.Invalid, "Look up the density of one chip, such as 8 or 16 Gbit.",
			"Chips of %d Gbit are not known for this standard.", densityGb)
	}
	every := refreshInterval[s.Standard]
	if tempC > hotRefresh {
		every /= 2
	}
	n := func(ns float64) int {
		c, _ := Clocks(s.Standard, ns, s.Rate) // the rate is checked above
		return c
	}
	d := Dependent{
		RowCycle: s.TRAS + s.TRP, ReadToPrecharge: readToPrechargeClocks(s.Standard, s.Rate),
		Refresh: n(refresh), RefreshEvery: int(every * 1000 / float64(tck)), RefreshShare: refresh / every,
	}
	if s.Standard == DDR5 {
		d.WriteLatency = s.CL - 2 // JESD79-5
		d.WriteRecovery = n(ddr5WriteRecover)
		d.RowToRowShort, d.RowToRowLong = ddr5RowToRow, max(ddr5RowToRow, n(ddr5RowToRowLong))
		d.FourActivates = ddr5FAW
		return d, nil
	}
	w := ddr4Windows[0]
	for _, row := range ddr4Windows {
		if s.Rate >= row.rate {
			w = row
		}
	}
	d.WriteLatency = ddr4WriteLatency(s)
	d.WriteRecovery = n(ddr4WriteRecover)
	d.RowToRowShort, d.RowToRowLong = max(ddr4ShortLeast, n(w.short)), max(ddr4ShortLeast, n(w.long))
	d.FourActivates = max(ddr4FAWLeast, n(w.faw))
	return d, nil
}

func ddr4WriteLatency(s Settings) int {
	if s.Rate > 3200 {
		return min(20, s.CL)
	}
	best, gap := 0, math.MaxInt
	for rate, n := range ddr4Write {
		if d := rate - s.Rate; d >= 0 && d < gap {
			best, gap = n, d
		}
	}
	return min(best, s.CL)
}

func readToPrechargeClocks(std Standard, rate int) int {
	n, err := Clocks(std, readToPrecharge, rate)
	if err != nil {
		return 0
	}
	if std == DDR5 {
		return max(ddr5ReadLeast, n)
	}
	return max(ddr4ReadLeast, n)
}
