package utter

import (
	"strings"
)

// amount is one number of the text with what stands around it.
type amount struct {
	from, to int    // tokens, unit included
	at       int    // the token of the number
	unit     string // as units.Parse accepts it, or ""
	value    float64
	time     bool     // value is in minutes, unit "min"
	named    []string // fields that its name may mean; nil if it has none
	hasName  bool
	name     string // the words of the name
	hedged   bool   // about, roughly
	noun     string // the field of the noun that it counts
}

// numbers assigns every number that is left.
func (r *reader) numbers() {
	if r.unfit() || r.corrected() {
		return
	}
	r.timings()
	list := r.amounts()
	for _, a := range list {
		for k := a.from; k < a.to; k++ {
			r.tokens[k].counted = true
		}
	}
	r.nameAll(list)
	for _, a := range list {
		r.use(a.from, a.to-a.from)
	}
	for i := range list {
		r.assign(&list[i])
	}
}

var (
	bounds = setOf(strings.Fields("over above below under than almost nearly least most between beyond exceeding exceeded within close"))
	hedges = setOf(strings.Fields("about around roughly approx approximately circa"))
	ups    = setOf(strings.Fields("up down raised lowered increased decreased added add plus raise lower increase decrease dropped minus another extra by"))
	mores  = setOf(strings.Fields("more higher lower less up down extra further"))
)

// unfit asks back about the whole text where numbers are negated, corrected
// or relative. It reports whether it did.
func (r *reader) unfit() bool {
	for i, t := range r.tokens {
		if t.kind != num || t.used {
			continue
		}
		prev, prev2 := wordAt(r.tokens, i-1), wordAt(r.tokens, i-2)
		next := r.afterUnit(i)
		var why Reason
		switch {
		case prev == "not" || prev2 == "not" && prev != "" && !r.tokens[i-2].used, prev == "never", prev2 == "instead", prev == "no":
			why = Unclear
		case ups[prev] && t.kind == num, ups[prev2] && (prev == "by" || prev == "a"), mores[wordAt(r.tokens, next)],
			strings.HasPrefix(t.text, "+") && !r.asksOffset():
			why = Relative
		default:
			continue
		}
		if prev == "up" && prev2 == "went" {
			continue
		}
		r.ask(why, r.piece(max(0, i-1), i+1), nil)
		r.dropNumbers()
		return true
	}
	return false
}

var corrections = phrasesOf("sorry|no wait|wait|i mean|i meant|correction|actually|scratch that|rather")

// corrected asks back where a number seems to be put right in the same text.
func (r *reader) corrected() bool {
	count := 0
	for _, t := range r.tokens {
		if t.kind == num && !t.used {
			count++
		}
	}
	if count < 2 || !r.says(corrections) {
		return false
	}
	r.ask(TwoValues, strings.TrimSpace(r.text), nil)
	r.dropNumbers()
	return true
}

func (r *reader) asksOffset() bool { _, ok := r.fields["offset_v"]; return ok }

// dropNumbers forgets the numbers that were already taken.
func (r *reader) dropNumbers() {
	for field, list := range r.taken {
		if _, isNumber := list[0].value.(float64); isNumber {
			delete(r.taken, field)
		}
	}
}

// afterUnit is the token behind the number and its unit.
func (r *reader) afterUnit(i int) int {
	i++
	for i < len(r.tokens) && (r.tokens[i].text == "°" || unitWords[r.tokens[i].text] != "" && r.tokens[i].kind == word) {
		i++
	}
	return i
}
