package utter

import (
	"math"
	"strings"

	"belay/internal/units"
)

// amounts finds the numbers that are plain, and asks back about the others.
func (r *reader) amounts() []amount {
	var out []amount
	for i := 0; i < len(r.tokens); i++ {
		t := r.tokens[i]
		if t.kind != num || t.used {
			continue
		}
		a, ok := r.amountAt(i)
		if ok {
			out = append(out, a)
		}
		i = a.to - 1
	}
	return out
}

func (r *reader) amountAt(i int) (amount, bool) {
	t := r.tokens[i]
	a := amount{from: i, to: i + 1, at: i, value: t.value}
	r.readUnit(&a)
	if a.unit == "" && t.glued && i > 0 && r.tokens[i-1].text == "x" { // x49
		a.from, a.unit = i-1, "x"
	}
	hasUnit := a.unit != "" || a.noun != ""
	next := wordAt(r.tokens, a.to)
	prev := wordAt(r.tokens, i-1)
	from := r.piece(a.from, a.to)
	refuse := func(why Reason) (amount, bool) {
		r.ask(why, from, nil, r.unitFields(a)...)
		return a, false
	}
	switch {
	case t.spelled && t.value <= smallWord && t.value == math.Trunc(t.value) && !hasUnit && !foreignSet[next] && !r.nameBefore(i):
		return a, false // "one of them"
	case !hasUnit && (foreignSet[next] && !r.tokens[a.to].used || a.to < len(r.tokens) && r.tokens[a.to].text == "%"):
		if next != "k" && next != "kw" && next != "mw" && next != "days" && next != "day" && next != "weeks" && next != "kelvin" {
			r.aside = append(r.aside, r.piece(i, a.to+1))
			r.use(i, a.to+1-i)
			a.to++
			return a, false
		}
		r.use(a.to, 1)
		return refuse(Unclear)
	case i > 0 && r.tokens[i-1].text == "#", beforeSet[prev] && !r.namesField(prev):
		r.aside = append(r.aside, r.piece(i-1, a.to))
		return a, false
	case t.twoWays:
		r.askTwoWays(a, from)
		return a, false
	case a.unit == "gb" && prev == "of": // two modules of 16 GB
		return refuse(Unclear)
	case t.bad, r.gluedToRubbish(a), r.isProduct(i, a.to):
		return refuse(Unclear)
	case r.isGrouped(i):
		return refuse(TwoWays)
	case r.isRange(i, a.to):
		a.to = r.rangeEnd(i, a.to)
		from = r.piece(a.from, a.to)
		return refuse(TwoValues)
	case bounds[prev] || i > 0 && strings.ContainsAny(r.tokens[i-1].text, "<>") || next == "ish" || r.isPlus(a.to):
		return refuse(Inexact)
	}
	a.hedged = hedges[prev] || i > 0 && r.tokens[i-1].text == "~" || r.says(guesses)
	return a, true
}

// askTwoWays asks back about 1,250 with the ways that fit a field.
func (r *reader) askTwoWays(a amount, from string) {
	values := map[string]float64{}
	var fields []string
	for _, raw := range []string{strings.ReplaceAll(r.tokens[a.at].text, ",", ""), r.tokens[a.at].raw} {
		for _, f := range r.scene.Fields {
			if f.Kind != "number" {
				continue
			}
			v, err := units.Parse(f.Unit, raw+a.unit)
			if err == nil && fits(f, v) && (f.Unit != "V" || a.unit != "" || v < 10) {
				values[f.Name] = v
				fields = append(fields, f.Name)
			}
		}
	}
	r.askFor(TwoWays, from, values, fields...)
}

var guesses = phrasesOf("i think|i guess|or so|more or less|ish|not exact|not exactly|from memory|or something")

var beforeSet = setOf(before)

// namesField reports whether a word is also the name of a field that is asked
// for here.
func (r *reader) namesField(w string) bool {
	for _, n := range r.names {
		if n.words == w && !n.after && len(r.groupOf(n)) > 0 {
			return true
		}
	}
	return false
}

func (r *reader) isPlus(i int) bool {
	return i < len(r.tokens) && r.tokens[i].text == "+" && r.tokens[i].glued
}

// gluedToRubbish reports letters at the number that are no unit: 5o, 1.2xyz.
func (r *reader) gluedToRubbish(a amount) bool {
	behind := a.at + 1
	if behind >= len(r.tokens) || !r.tokens[behind].glued || r.tokens[behind].kind != word {
		return false
	}
	return behind >= a.to && !foreignSet[r.tokens[behind].text]
}

// isProduct reports 2x16.
func (r *reader) isProduct(i, to int) bool {
	x := func(k int) bool { return wordAt(r.tokens, k) == "x" || wordAt(r.tokens, k) == "times" }
	number := func(k int) bool { return k >= 0 && k < len(r.tokens) && r.tokens[k].kind == num }
	return x(i+1) && number(i+2) || x(i-1) && number(i-2)
}

// isGrouped reports one of the parts of "1 265".
func (r *reader) isGrouped(i int) bool {
	group := func(k int) bool {
		if k < 0 || k+1 >= len(r.tokens) {
			return false
		}
		a, b := r.tokens[k], r.tokens[k+1]
		return a.kind == num && b.kind == num && !a.spelled && !b.spelled && len(b.raw) == 3 && !strings.Contains(a.raw+b.raw, ".") && len(a.raw) <= 3
	}
	return group(i) || group(i-1)
}

// isRange reports "80-85", "80 to 85", "84 or 85" and their second numbers.
func (r *reader) isRange(i, to int) bool { return r.rangeEnd(i, to) > to }

func (r *reader) rangeEnd(i, to int) int {
	for _, k := range []int{i + 1, to} {
		if k+1 >= len(r.tokens) || r.tokens[k+1].kind != num {
			continue
		}
		t := r.tokens[k]
		joined := t.kind == mark && t.text == "-" || t.text == "to" || t.text == "or" || t.text == "and" && i > 0 && wordAt(r.tokens, i-1) == "between"
		if joined {
			b := amount{from: k + 1, to: k + 2, at: k + 1}
			r.readUnit(&b)
			return b.to
		}
	}
	return to
}
