package utter

import (
	"slices"
	"strings"

	"belay/internal/session"
)

// weak are answers that count only where the text says nothing else.
var weak = setOf(strings.Fields("yes yep yeah no nope none done sure on off taken active fan tower cool offset air water normal"))

// choices finds the answers to the other choice fields.
func (r *reader) choices() {
	for _, f := range r.scene.Fields {
		if f.Name == "outcome" || f.Kind != "choice" && f.Kind != "yesno" {
			continue
		}
		r.choice(f)
	}
}

func (r *reader) choice(f session.Field) {
	table := choiceWords[f.Name]
	if table == nil {
		table = map[string][]phrase{}
		for _, c := range f.Choices {
			table[c.Value] = phrasesOf(strings.ToLower(strings.ReplaceAll(c.Value, "_", " ")))
		}
		if f.Kind == "yesno" {
			table = map[string][]phrase{"yes": phrasesOf("yes|yep|yeah"), "no": phrasesOf("no|nope")}
		}
	}
	var list []phrase
	for value, ps := range table {
		if f.Kind == "choice" && !slices.ContainsFunc(f.Choices, func(c session.Choice) bool { return c.Value == value }) {
			continue
		}
		for _, p := range ps {
			list = append(list, phrase{p.words, value})
		}
	}
	longestFirst(list)
	for i := 0; i < len(r.tokens); i++ {
		if r.tokens[i].used {
			continue
		}
		for _, p := range list {
			n := r.matchAt(i, p.words)
			if n == 0 || n == 1 && p.means == "offset" && r.holdsNumber() && f.Name == "voltage_mode" {
				continue
			}
			if i > 0 && wordAt(r.tokens, i-1) == "not" {
				r.ask(Unclear, r.piece(i-1, i+n), nil, f.Name)
				return
			}
			joined := wordAt(r.tokens, i-1) == "or" || wordAt(r.tokens, i+n) == "or"
			if n == 1 && weak[p.words[0]] && !joined && !r.covered(i, i+n, list) {
				continue
			}
			value := any(p.means)
			if f.Kind == "yesno" {
				value = p.means == "yes"
			}
			r.take(f.Name, value, r.piece(i, i+n))
			r.use(i, n)
			i += n - 1
			break
		}
	}
}

// covered reports whether everything else in the text is filler, already
// explained or another phrase of the list.
func (r *reader) covered(from, to int, list []phrase) bool {
	for i := 0; i < len(r.tokens); i++ {
		t := r.tokens[i]
		if i >= from && i < to || t.used || t.kind != word || fillerSet[t.text] || unitWords[t.text] != "" || r.isName(i) {
			continue
		}
		if n := r.oneOf(i, list); n > 0 {
			i += n - 1
			continue
		}
		return false
	}
	return true
}

func (r *reader) isName(i int) bool {
	for _, n := range r.names {
		if k := r.matchAt(i, n.parts); k > 0 {
			return true
		}
	}
	return false
}
