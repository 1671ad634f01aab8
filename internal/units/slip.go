package units

import "math"

// Slip is another unit in which a number may have been typed by mistake.
type Slip struct {
	Unit  string  // the unit that would explain the number
	Note  string  // what the conversion assumes, as a clause, or ""
	Value float64 // the number in the unit that was asked for
}

// conversions lists the usual slips for each unit, as factor and offset into
// it. The base clock of 100 MHz is common practice, no source; memory clocks
// are half the data rate because data moves on both edges (JEDEC JESD79-4,
// from memory).
var conversions = map[string][]struct {
	unit           string
	factor, offset float64
	note           string
}{
	"V":     {{"mV", 0.001, 0, ""}},
	"mV":    {{"V", 1000, 0, ""}},
	"MHz":   {{"GHz", 1000, 0, ""}},
	"×":     {{"MHz", 0.01, 0, " at a base clock of 100\u00a0MHz"}, {"GHz", 10, 0, " at a base clock of 100\u00a0MHz"}},
	"MT/s":  {{"MHz", 2, 0, ", the memory clock,"}},
	"W":     {{"mW", 0.001, 0, ""}},
	"°C":    {{"°F", 5.0 / 9, -160.0 / 9, ""}},
	"min":   {{"h", 60, 0, ""}, {"s", 1.0 / 60, 0, ""}},
	"h":     {{"min", 1.0 / 60, 0, ""}},
	"GB":    {{"MB", 0.001, 0, ""}},
	"GB/s":  {{"MB/s", 0.001, 0, ""}},
	"ns":    {{"ps", 0.001, 0, ""}},
	"share": {{"%", 0.01, 0, ""}},
}

// SlipOf returns the first usual slip that would bring v, asked for in symbol,
// into the range from low to high. It reports false if none would. It only
// offers: nothing is converted.
func SlipOf(symbol string, v, low, high float64) (Slip, bool) {
	for _, c := range conversions[symbol] {
		per := 1e4
		if symbol == "°C" {
			per = 10 // sensors show no more
		}
		x := math.Round((v*c.factor+c.offset)*per) / per
		if x >= low && x <= high {
			return Slip{Unit: c.unit, Note: c.note, Value: x}, true
		}
	}
	return Slip{}, false
}
