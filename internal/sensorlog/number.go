package sensorlog

import (
	"bytes"
	"math"
	"regexp"
	"strconv"
	"strings"

	"belay/internal/sample"
)

// number reads the number at the front of a cell, whatever unit follows.
// Without a decimal comma, "1,234.5" is grouped; with one, "1.234,5" is.
func number(cell []byte, decimalComma bool) (float64, bool) {
	cell = bytes.TrimSpace(cell)
	end := 0
	for end < len(cell) && (cell[end] >= '0' && cell[end] <= '9' || bytes.IndexByte([]byte("+-.,eE'"), cell[end]) >= 0) {
		end++
	}
	if end == 0 {
		return 0, false
	}
	text := bytes.TrimRight(cell[:end], "eE") // "5 E" is no exponent
	if x, err := strconv.ParseFloat(string(text), 64); err == nil && !(decimalComma && grouped(text, '.')) {
		return x, !math.IsInf(x, 0)
	}
	if decimalComma {
		text = bytes.ReplaceAll(bytes.ReplaceAll(text, []byte("."), nil), []byte(","), []byte("."))
	} else if grouped(text, ',') {
		text = bytes.ReplaceAll(text, []byte(","), nil)
	} else {
		return 0, false
	}
	text = bytes.ReplaceAll(text, []byte("'"), nil)
	x, err := strconv.ParseFloat(string(text), 64)
	return x, err == nil && !math.IsInf(x, 0)
}

// grouped reports whether mark stands in text only before groups of three
// digits, so that it must be a mark of thousands.
func grouped(text []byte, mark byte) bool {
	parts := bytes.Split(text, []byte{mark})
	if len(parts) < 2 || len(bytes.TrimLeft(parts[0], "+-")) == 0 || len(bytes.TrimLeft(parts[0], "+-")) > 3 {
		return false
	}
	for _, p := range parts[1:] {
		whole := p
		if i := bytes.IndexAny(p, ".,"); i >= 0 {
			whole = p[:i]
		}
		if len(whole) != 3 {
			return false
		}
	}
	return true
}

// flags are words for a thing that is so or is not so. Common practice.
var flags = map[string]float64{
	"yes": 1, "no": 0, "true": 1, "false": 0, "on": 1, "off": 0, "ja": 1, "nein": 0, "oui": 1, "non": 0, "sí": 1, "si": 1,
	"wahr": 1, "falsch": 0, "active": 1, "inactive": 0,
}

// flag reads a cell that says yes or no.
func flag(cell []byte) (float64, bool) {
	x, ok := flags[strings.ToLower(string(cell))]
	return x, ok
}

// unit is a spelling of a unit with the way into Belay's own.
type unit struct {
	symbol         string
	factor, offset float64
}

// spellings are the units that a header or a cell can carry, in lower case.
var spellings = map[string]unit{
	"v": {"V", 1, 0}, "volt": {"V", 1, 0}, "volts": {"V", 1, 0}, "mv": {"V", 1e-3, 0},
	"°c": {"°C", 1, 0}, "c": {"°C", 1, 0}, "degc": {"°C", 1, 0}, "celsius": {"°C", 1, 0}, "℃": {"°C", 1, 0}, "ºc": {"°C", 1, 0},
	"°f": {"°C", 5.0 / 9, -160.0 / 9}, "f": {"°C", 5.0 / 9, -160.0 / 9}, "fahrenheit": {"°C", 5.0 / 9, -160.0 / 9}, "k": {"°C", 1, -273.15},
	"m°c": {"°C", 1e-3, 0},
	"w":   {"W", 1, 0}, "watt": {"W", 1, 0}, "watts": {"W", 1, 0}, "mw": {"W", 1e-3, 0},
	"mhz": {"MHz", 1, 0}, "ghz": {"MHz", 1e3, 0}, "khz": {"MHz", 1e-3, 0}, "hz": {"MHz", 1e-6, 0},
	"%": {"%", 1, 0}, "percent": {"%", 1, 0}, "pct": {"%", 1, 0},
	"yes/no": {"yes/no", 1, 0}, "y/n": {"yes/no", 1, 0}, "bool": {"yes/no", 1, 0},
	"s": {"s", 1, 0}, "sec": {"s", 1, 0}, "seconds": {"s", 1, 0}, "ms": {"s", 1e-3, 0}, "us": {"s", 1e-6, 0}, "µs": {"s", 1e-6, 0},
	"min": {"s", 60, 0}, "minutes": {"s", 60, 0},
}

var (
	inBrackets = regexp.MustCompile(`[\[(]\s*([^\[\]()]{1,12}?)\s*[\])]\s*$`)
	behind     = regexp.MustCompile(`(?i)(?:\sin\s|[,/_:|\s-])\s*([°ºµ℃%a-z/]{1,9})\s*$`)
	afterValue = regexp.MustCompile(`^[-+0-9.,' ]+\s*([°ºµ℃%a-zA-Z/]{1,9})$`)
)

// unitOf reads the unit in a header: "Vcore [V]", "Temp (°C)", "clock_mhz",
// "Power in W".
func unitOf(name string) (unit, bool) {
	for _, pattern := range []*regexp.Regexp{inBrackets, behind} {
		if m := pattern.FindStringSubmatch(name); m != nil {
			if u, ok := spellings[strings.ToLower(m[1])]; ok {
				return u, true
			}
		}
	}
	return unit{}, false
}

// unitOfCell reads the unit behind a number, as in "1.212 V".
func unitOfCell(cell string) (unit, bool) {
	m := afterValue.FindStringSubmatch(cell)
	if m == nil {
		return unit{}, false
	}
	u, ok := spellings[strings.ToLower(m[1])]
	return u, ok
}

// bySize is the unit of a quantity whose column names none, from the size of
// its values. Chosen: no core runs at 100 V, below 100 MHz, or above 100 GHz.
func bySize(q sample.Quantity, x float64) float64 {
	switch {
	case q == sample.Voltage && x > 100:
		return x / 1000
	case q == sample.Power && x > 5000:
		return x / 1000
	case q == sample.Clock && x > 0 && x < 20:
		return x * 1000
	case q == sample.Clock && x >= 1e8:
		return x / 1e6
	case q == sample.Clock && x >= 1e5:
		return x / 1000
	}
	return x
}
