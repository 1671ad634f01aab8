// Package units holds the quantities of the job as types, with parsing,
// printing and plausible ranges.
//
// All values are plain numbers in one fixed unit per type. A unit is written
// with its symbol: "V", "mV", "MHz", "W", "°C", "min", "MT/s".
package units

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"belay/internal/fault"
)

// Volt is a voltage in volts.
type Volt float64

// Megahertz is a frequency in MHz.
type Megahertz float64

// Watt is a power in watts.
type Watt float64

// Celsius is a temperature in degrees Celsius.
type Celsius float64

// Ratio is a whole multiple of the base clock.
type Ratio int

// Minutes is a span of time in minutes.
type Minutes float64

// Millivolts returns v in mV.
func (v Volt) Millivolts() float64 { return float64(v) * 1000 }

func (v Volt) String() string      { return Format("V", float64(v)) }
func (f Megahertz) String() string { return Format("MHz", float64(f)) }
func (p Watt) String() string      { return Format("W", float64(p)) }
func (t Celsius) String() string   { return Format("°C", float64(t)) }
func (r Ratio) String() string     { return strconv.Itoa(int(r)) }
func (m Minutes) String() string   { return FormatMinutes(float64(m)) }

// unit is what Belay knows of a unit symbol: how many decimals a reader
// needs, and the other units a person may write, as factor and offset into
// this one.
type unit struct {
	decimals int
	accepts  map[string]conversion
}

type conversion struct{ factor, offset float64 }

var same = conversion{1, 0}

// known holds every unit that a field may name. Keys of accepts are in lower
// case without blanks.
var known = map[string]unit{
	"V":    {3, map[string]conversion{"v": same, "volt": same, "volts": same, "mv": {0.001, 0}, "millivolt": {0.001, 0}, "millivolts": {0.001, 0}}},
	"mV":   {0, map[string]conversion{"mv": same, "millivolt": same, "millivolts": same, "v": {1000, 0}, "volt": {1000, 0}, "volts": {1000, 0}}},
	"MHz":  {0, map[string]conversion{"mhz": same, "megahertz": same, "ghz": {1000, 0}, "gigahertz": {1000, 0}}},
	"W":    {0, map[string]conversion{"w": same, "watt": same, "watts": same}},
	"°C":   {0, map[string]conversion{"c": same, "°c": same, "degc": same, "deg": same, "degrees": same, "celsius": same, "°": same, "f": {5.0 / 9, -160.0 / 9}, "°f": {5.0 / 9, -160.0 / 9}, "fahrenheit": {5.0 / 9, -160.0 / 9}}},
	"min":  {1, map[string]conversion{"min": same, "mins": same, "minute": same, "minutes": same, "m": same, "h": {60, 0}, "hour": {60, 0}, "hours": {60, 0}, "s": {1.0 / 60, 0}, "sec": {1.0 / 60, 0}, "seconds": {1.0 / 60, 0}}},
	"h":    {1, map[string]conversion{"h": same, "hour": same, "hours": same, "min": {1.0 / 60, 0}, "minutes": {1.0 / 60, 0}, "days": {24, 0}}},
	"MT/s": {0, map[string]conversion{"mt/s": same, "mts": same, "mt": same}},
	"GB":   {1, map[string]conversion{"gb": same, "gib": same, "mb": {0.001, 0}}},
	"GB/s": {1, map[string]conversion{"gb/s": same, "mb/s": {0.001, 0}}},
	"ns":   {1, map[string]conversion{"ns": same, "ps": {0.001, 0}}},
	"clk":  {0, map[string]conversion{"clk": same, "clocks": same, "ck": same, "t": same}},
	"×":    {0, map[string]conversion{"x": same, "×": same}},
	"%":    {1, map[string]conversion{"%": same, "percent": same}},
	"mΩ":   {2, map[string]conversion{"mω": same, "mohm": same}},
	// Counts and scores have no unit of their own; "points" and "pieces" say so.
	"points": {1, map[string]conversion{"points": same, "pts": same}},
	"pieces": {0, map[string]conversion{"pieces": same}},
}

// Known reports whether symbol is a unit that Belay can read and print.
func Known(symbol string) bool { _, ok := known[symbol]; return ok }

// Format prints v with the decimals its unit deserves, a blank and the symbol.
// A page joins the two by a no-break space.
// Counts and scores print as a bare number; an unknown unit prints v as it is.
func Format(symbol string, v float64) string {
	if math.IsNaN(v) {
		return "unknown"
	}
	u, ok := known[symbol]
	if !ok {
		return strings.TrimSpace(strconv.FormatFloat(v, 'g', -1, 64) + " " + symbol)
	}
	n := strconv.FormatFloat(v, 'f', u.decimals, 64)
	if u.decimals == 1 {
		n = strings.TrimSuffix(n, ".0")
	}
	switch symbol {
	case "points", "pieces":
		return n
	case "×", "%":
		return n + symbol
	}
	return n + " " + symbol
}

// FormatMinutes prints a span as people say it: "7 min 20 s", "2 h 30 min".
func FormatMinutes(m float64) string {
	switch {
	case math.IsNaN(m) || math.IsInf(m, 0):
		return "unknown"
	case m < 0:
		return "-" + FormatMinutes(-m)
	}
	s := int(math.Round(m * 60))
	switch {
	case s < 60:
		return fmt.Sprintf("%d s", s)
	case s < 3600 && s%60 != 0:
		return fmt.Sprintf("%d min %d s", s/60, s%60)
	case s < 3600:
		return fmt.Sprintf("%d min", s/60)
	}
	mins := int(math.Round(m))
	if mins%60 == 0 {
		return fmt.Sprintf("%d h", mins/60)
	}
	return fmt.Sprintf("%d h %d min", mins/60, mins%60)
}

// Parse reads a number in the unit symbol as a person types it: with or
// without a unit, with point or comma as the decimal mark, blanks ignored.
// Another unit of the same quantity is converted. It returns an Invalid fault
// for text that is not a number, for a unit of another quantity, and for
// "1,250" or "1.250,5", which people read in two ways.
func Parse(symbol, text string) (float64, error) {
	u, ok := known[symbol]
	if !ok {
		return 0, fault.Newf(fault.Internal, "Report this flow.", "the unit %q is not known", symbol)
	}
	compact := strings.ToLower(strings.Join(strings.Fields(strings.ReplaceAll(text, " ", " ")), ""))
	compact = strings.ReplaceAll(compact, "−", "-")
	cut := strings.IndexFunc(compact, func(r rune) bool {
		return !strings.ContainsRune("0123456789.,+-", r)
	})
	number, suffix := compact, ""
	if cut >= 0 {
		number, suffix = compact[:cut], compact[cut:]
	}
	how := "Type a number in " + symbol + ", such as " + example(symbol) + "."
	if number == "" {
		return 0, fault.Newf(fault.Invalid, how, "%q is not a number", text)
	}
	number, err := decimalMark(number, text)
	if err != nil {
		return 0, err
	}
	v, perr := strconv.ParseFloat(number, 64)
	if perr != nil || math.IsInf(v, 0) {
		return 0, fault.Newf(fault.Invalid, how, "%q is not a number", text)
	}
	if suffix == "" {
		return v, nil
	}
	c, ok := u.accepts[suffix]
	if !ok {
		return 0, fault.Newf(fault.Invalid, how, "%q is not a unit for this field", suffix)
	}
	return math.Round((v*c.factor+c.offset)*1e9) / 1e9, nil
}

func example(symbol string) string {
	switch symbol {
	case "V":
		return "1.255"
	case "MHz":
		return "4900"
	case "°C":
		return "78"
	case "min":
		return "7.5"
	}
	return "10"
}

// decimalMark turns a comma into a point where that can be meant in one way
// only. Three digits after a lone comma with a digit before it may be a
// grouped thousand or a decimal, so they are asked back.
func decimalMark(number, text string) (string, error) {
	commas, points := strings.Count(number, ","), strings.Count(number, ".")
	if commas == 0 {
		return number, nil
	}
	at := strings.IndexByte(number, ',')
	whole := strings.TrimLeft(number[:at], "+-")
	grouped := len(number)-at-1 == 3 && whole != "" && whole != "0"
	if commas > 1 || points > 0 || grouped {
		return "", fault.Newf(fault.Invalid,
			"Write it with a point and no grouping: 1.25 or 1250.",
			"%q can be read in two ways", text)
	}
	return strings.Replace(number, ",", ".", 1), nil
}
