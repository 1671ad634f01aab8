package sensorlog

import (
	"bytes"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// clockKind says how a time column is to be read.
type clockKind struct {
	scale float64 // a number in seconds; 0: a time of day
}

// timeOfDay finds hours, minutes and seconds in a time stamp of any order of
// its date: "2026-11-28T18:05:09.250Z", "28.11.2026 18:05:09", "6:05:09 PM".
var timeOfDay = regexp.MustCompile(`(?:^|[^0-9:])(\d{1,3}):(\d{2})(?::(\d{2})(?:[.,:](\d{1,9}))?)?\s*([AaPp]\.?[Mm]\.?)?`)

// secondsOfDay reads a time of day, or an elapsed time, in seconds.
func secondsOfDay(cell []byte) (float64, bool) {
	m := timeOfDay.FindSubmatch(cell)
	if m == nil {
		return 0, false
	}
	n := func(i int) float64 { x, _ := strconv.Atoi(string(m[i])); return float64(x) }
	hours := n(1)
	if len(m[5]) > 0 {
		hours = math.Mod(hours, 12)
		if m[5][0] == 'p' || m[5][0] == 'P' {
			hours += 12
		}
	}
	if n(2) > 59 || n(3) > 60 {
		return 0, false
	}
	s := hours*3600 + n(2)*60 + n(3)
	if len(m[4]) > 0 {
		s += n(4) / math.Pow10(len(m[4]))
	}
	return s, true
}

// timeWords head a column of times, best first. Common practice.
var timeWords = []string{"timestamp", "datetime", "time", "zeit", "uhrzeit", "heure", "temps", "hora", "elapsed", "at", "seconds", "unix", "epoch", "date", "datum"}

// guessTime finds the column of times: one whose cells are times of day, or a
// number that never falls under a heading that speaks of time.
func guessTime(columns []Column, cells [][]string, units []string, decimalComma bool) (name string, kind clockKind) {
	rank := func(name string) int {
		words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !(r >= 'a' && r <= 'z') && r < 128 })
		for i, w := range timeWords {
			for _, x := range words {
				if x == w {
					return i
				}
			}
		}
		return len(timeWords)
	}
	best := -1
	for i, c := range columns {
		of := make([]string, 0, len(cells))
		for _, row := range cells {
			if i < len(row) && row[i] != "" {
				of = append(of, row[i])
			}
		}
		k, ok := kindOf(of, units[i], decimalComma)
		// A number is a time only where the heading says so.
		if !ok || k.scale != 0 && rank(c.Name) == len(timeWords) {
			continue
		}
		if best < 0 || rank(c.Name) < rank(columns[best].Name) {
			best, kind = i, k
		}
	}
	if best < 0 {
		return "", clockKind{}
	}
	return columns[best].Name, kind
}

// kindOf tells how the cells of a column can be read as times.
func kindOf(cells []string, unit string, decimalComma bool) (clockKind, bool) {
	if len(cells) == 0 {
		return clockKind{}, false
	}
	days := 0
	var numbers []float64
	for _, c := range cells {
		if _, ok := secondsOfDay([]byte(c)); ok {
			days++
		} else if x, ok := number([]byte(c), decimalComma); ok && !strings.ContainsAny(c, ":/") {
			numbers = append(numbers, x)
		}
	}
	if days*10 >= len(cells)*8 {
		return clockKind{}, true
	}
	if len(numbers)*10 < len(cells)*8 {
		return clockKind{}, false
	}
	for i := 1; i < len(numbers); i++ {
		if numbers[i] < numbers[i-1] {
			return clockKind{}, false
		}
	}
	first, last := numbers[0], numbers[len(numbers)-1]
	switch u := spellings[unit]; {
	case u.symbol == "s":
		return clockKind{u.factor}, true
	case first > 1e17: // nanoseconds since 1970
		return clockKind{1e-9}, true
	case first > 1e14:
		return clockKind{1e-6}, true
	case first > 1e11:
		return clockKind{1e-3}, true
	case first > 2e4 && first < 1e5 && last-first < 3 && len(numbers) > 1 && (last-first)/float64(len(numbers)-1) < 0.02:
		return clockKind{86400}, true // days, as spreadsheets count them
	}
	return clockKind{1}, true
}

// clock turns the times of a log into seconds that never run back.
type clock struct {
	kind         clockKind
	decimalComma bool
	started      bool
	last, shift  float64
	jumps, bad   int
}

const (
	day      = 86400.0
	halfDay  = day / 2
	tolerate = 2.0 // s that a time may lie before the one above it, when rows come out of order
)

// at returns the time of a row, or false if its cell holds none.
func (c *clock) at(cell []byte) (float64, bool) {
	var t float64
	var ok bool
	if c.kind.scale == 0 {
		t, ok = secondsOfDay(cell)
	} else if t, ok = number(bytes.TrimSpace(cell), c.decimalComma); ok {
		t *= c.kind.scale
	}
	if !ok {
		c.bad++
		return 0, false
	}
	t += c.shift
	if c.started && t < c.last-tolerate {
		if c.kind.scale == 0 && c.last-t > halfDay {
			c.shift += day // past midnight
			t += day
		}
		if t < c.last-tolerate { // the clock was set back
			c.jumps++
			c.shift += c.last + 1 - t
			t = c.last + 1
		}
	}
	c.started, c.last = true, max(t, c.last)
	return t, true
}
