package utter

import (
	"math"
)

// readUnit takes the unit behind the number, or the noun that it counts.
func (r *reader) readUnit(a *amount) {
	i := a.to
	if i < len(r.tokens) && r.tokens[i].text == "°" {
		a.unit = "c"
		i++
		if w := wordAt(r.tokens, i); w == "c" || w == "f" {
			a.unit = w
			i++
		}
		a.to = i
		return
	}
	w := wordAt(r.tokens, i)
	if f, ok := countNouns[w]; ok && r.fields[f].Name != "" {
		a.noun, a.to = f, i+1
		return
	}
	u := unitWords[w]
	if u == "" {
		return
	}
	a.unit, a.to = u, i+1
	if u == "c" && (unitWords[wordAt(r.tokens, i+1)] == "f" || unitWords[wordAt(r.tokens, i+1)] == "c") {
		a.unit, a.to = unitWords[wordAt(r.tokens, i+1)], i+2
	}
	if wordAt(r.tokens, a.to) == "kelvin" { // 86 degrees kelvin
		a.unit = "kelvin"
	}
	r.readTime(a)
}

// minutesOf is how many minutes each unit of time has.
var minutesOf = map[string]float64{"h": 60, "min": 1, "s": 1.0 / 60}

// readTime joins "1 h 20 min" and turns the time into minutes.
func (r *reader) readTime(a *amount) {
	each, ok := minutesOf[a.unit]
	if !ok {
		return
	}
	a.time, a.value = true, a.value*each
	for {
		i := a.to
		if wordAt(r.tokens, i) == "and" {
			i++
		}
		if wordAt(r.tokens, i) == "a" && wordAt(r.tokens, i+1) == "half" && each == 60 && i > a.to {
			a.value, a.to = a.value+30, i+2
			break
		}
		if i >= len(r.tokens) || r.tokens[i].kind != num || r.tokens[i].bad || r.tokens[i].twoWays || r.tokens[i].used {
			break
		}
		smaller := minutesOf[unitWords[wordAt(r.tokens, i+1)]]
		if smaller == 0 {
			if i == a.to && r.hasNoUnit(i) { // "1 hour 30"
				r.tokens[i].bad, a.unit = true, "unclear"
			}
			break
		}
		if smaller >= each {
			break
		}
		a.value, a.to, each = a.value+r.tokens[i].value*smaller, i+2, smaller
	}
	if a.unit != "unclear" {
		a.unit = "min"
	}
	a.value = math.Round(a.value*1000) / 1000
}

// hasNoUnit reports whether nothing behind the number says what it counts.
func (r *reader) hasNoUnit(i int) bool {
	next := wordAt(r.tokens, i+1)
	return unitWords[next] == "" && countNouns[next] == "" && (i+1 >= len(r.tokens) || r.tokens[i+1].text != "°")
}
