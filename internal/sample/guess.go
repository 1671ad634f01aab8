package sample

import (
	"strings"
	"unicode"
)

// Guess says which quantity a sensor or a column most likely holds, from the
// words of its name and its unit, and how sure that is: 0 for "none", 1 for
// "some kind of this", 2 or more for a name that says so. unit is a symbol as
// UnitOf returns it, or "".
//
// The words are common practice, no source. A requested voltage is not the
// one that arrives, and other chips' sensors are not the processor's.
func Guess(name, unit string) (Quantity, int) {
	words := words(name)
	has := func(list []string) bool {
		for _, w := range list {
			if words[w] {
				return true
			}
		}
		return false
	}
	if has(others) {
		return 0, 0
	}
	for _, k := range kinds {
		if k.unit != unit && !(unit == "" && has(k.names)) || has(k.never) {
			continue
		}
		score := 0
		if unit != "" {
			score++
		}
		if has(k.names) {
			score++
		}
		if has(k.best) {
			score += 2
		}
		if has(k.good) {
			score++
		}
		if score > 1 {
			return k.q, score
		}
	}
	return 0, 0
}

// others are the words of parts that are not the processor's cores.
var others = []string{
	"gpu", "grafik", "chipset", "ssd", "hdd", "disk", "drive", "nvme", "dimm", "dram", "ram", "memory", "speicher", "fan",
	"psu", "water", "wasser", "pump", "vrm", "mos", "ambient", "air", "room", "network", "battery", "soc", "graphics", "igpu",
	"limit", "uncore", "ring", "cache", "fabric", "bus", "multiplier", "distance", "tjmax", "target", "wall",
}

// kinds are the words for each quantity.
var kinds = []struct {
	q                        Quantity
	unit                     string
	names, good, best, never []string
}{
	{
		Voltage, "V", []string{"voltage", "volt", "volts", "spannung", "tension"},
		[]string{"core", "cpu", "kern"}, []string{"vcore", "vddcr"},
		[]string{"min", "max", "avg", "average", "vid", "requested", "request", "set", "offset", "aux", "sa", "io", "pll", "12v", "5v", "3v3", "3vsb", "vbat", "avcc"},
	},
	{
		Temp, "°C", []string{"temp", "temperature", "temperatur", "température"},
		[]string{"cpu", "core", "package", "kern", "die", "ccd", "processor", "max"}, []string{"tctl", "tdie"},
		[]string{"min", "avg", "average", "board", "mainboard", "motherboard", "system", "systin", "auxtin", "pch", "crit", "tcase"},
	},
	{
		Power, "W", []string{"power", "leistung", "puissance"}, []string{"cpu", "processor"}, []string{"package", "pkg"},
		[]string{"min", "max", "avg", "average", "cores", "ia", "gt", "system", "supply", "rest", "platform"},
	},
	{
		Clock, "MHz", []string{"clock", "frequency", "freq", "takt", "fréquence"}, []string{"core", "cpu", "kern"}, []string{"effective"},
		[]string{"min", "max", "avg", "average", "base", "reference", "bclk"},
	},
	{
		Busy, "%", []string{"usage", "load", "utilization", "utilisation", "util", "busy", "auslastung", "charge"},
		[]string{"cpu", "processor"}, []string{"total"}, []string{"min", "max", "throttling", "throttle", "humidity", "level", "charging"},
	},
	{
		Throttle, "yes/no", []string{"throttling", "throttle", "throttled", "prochot", "drosselung"},
		[]string{"cpu", "core", "package", "thermal"}, nil, nil,
	},
}

// words cuts a name into words in lower case, at anything that is no letter or
// digit. Where a capital follows a small letter, the pieces count as well.
func words(name string) map[string]bool {
	out := map[string]bool{}
	for _, word := range strings.FieldsFunc(name, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
		out[strings.ToLower(word)] = true
		from := 0
		var last rune
		for i, r := range word {
			if unicode.IsUpper(r) && unicode.IsLower(last) {
				out[strings.ToLower(word[from:i])] = true
				from = i
			}
			last = r
		}
		out[strings.ToLower(word[from:])] = true
	}
	return out
}
