package utter

import (
	"slices"
	"strings"

	"belay/internal/session"
	"belay/internal/trial"
)

// reader works on one text.
type reader struct {
	text   string
	scene  Scene
	tokens []token
	fields map[string]session.Field
	known  map[string]bool // words that mean themselves
	labels map[string]bool // words of the labels, which mean themselves too
	names  []name

	heard   bool   // some word for an outcome was there
	outcome string // value, crash, or "" where none is told
	taken   map[string][]taken
	asks    []Ask
	aside   []string
}

// taken is a value for a field, before it is known to be the only one.
type taken struct {
	value any
	from  string
}

// Read understands text in scene. It never fails: what it does not understand
// is Unknown.
func Read(text string, scene Scene) Reading {
	r := newReader(text, scene)
	if c := r.command(); c != "" {
		return Reading{Kind: Command, Command: c}
	}
	if r.about("danger") {
		return Reading{Kind: Topic, Topic: "danger"}
	}
	if r.isQuestion() {
		return r.answerTo()
	}
	if r.doubtful() {
		if t := r.topic(); t != "" {
			return Reading{Kind: Topic, Topic: t}
		}
		return r.notAReport()
	}
	r.report()
	out := r.settle()
	if out.Kind == Draft || len(out.Asks) > 0 && (r.holdsNumber() || r.heard) {
		return out
	}
	if q := r.answerTo(); q.Kind == Topic || q.Kind == Term && len(out.Asks) == 0 {
		return q
	}
	return out
}

func newReader(text string, scene Scene) *reader {
	r := &reader{
		text: text, scene: scene, tokens: expand(spelled(lex(text))), fields: map[string]session.Field{},
		labels: map[string]bool{}, taken: map[string][]taken{},
	}
	for _, f := range scene.Fields {
		r.fields[f.Name] = f
	}
	r.learn()
	return r
}

// learn gathers the names and words that mean something here: those of this
// package and of the labels.
func (r *reader) learn() {
	r.names, r.known = names, vocabulary
	var own []name
	for _, f := range r.scene.Fields {
		words := strings.FieldsFunc(strings.ToLower(f.Label), notWord)
		for _, w := range words {
			r.labels[w] = true
		}
		own = append(own, name{words: strings.Join(words, " "), parts: words, groups: []string{f.Name}})
	}
	r.names = sortNames(append(own, names...))
	for _, n := range own {
		for i := range r.tokens {
			for k := range r.matchAt(i, n.parts) {
				r.tokens[i+k].label = true
			}
		}
	}
}

// sortNames puts the longest first, in an order that does not depend on a map.
func sortNames(list []name) []name {
	slices.SortFunc(list, func(a, b name) int {
		if d := len(b.parts) - len(a.parts); d != 0 {
			return d
		}
		return strings.Compare(a.words+strings.Join(a.groups, ";"), b.words+strings.Join(b.groups, ";"))
	})
	return list
}

// vocabulary are all words that mean themselves.
var vocabulary = learned()

func learned() map[string]bool {
	known := map[string]bool{}
	teach := func(words []string) {
		for _, w := range words {
			known[w] = true
		}
	}
	lists := [][]phrase{outcomes, doubtWords, guesses, corrections, noErrors, neutral, termWords, lineWords, versionWords}
	for _, list := range topics {
		lists = append(lists, list)
	}
	for _, list := range commands {
		lists = append(lists, list)
	}
	for _, field := range choiceWords {
		for _, list := range field {
			lists = append(lists, list)
		}
	}
	for _, list := range lists {
		for _, p := range list {
			teach(p.words)
		}
	}
	for _, n := range names {
		teach(n.parts)
	}
	for w := range unitWords {
		known[w] = true
	}
	teach(filler)
	teach(foreign)
	teach(before)
	return known
}

func notWord(c rune) bool { return !isLetter(c) && !isDigit(c) }

// piece is the original text of tokens from i up to j.
func (r *reader) piece(i, j int) string {
	return strings.TrimSpace(r.text[r.tokens[i].start:r.tokens[j-1].end])
}

func (r *reader) use(i, n int) {
	for k := i; k < i+n; k++ {
		r.tokens[k].used = true
	}
}

func (r *reader) take(field string, value any, from string) {
	r.taken[field] = append(r.taken[field], taken{value, from})
}

func (r *reader) ask(reason Reason, from string, meant *float64, fields ...string) {
	a := Ask{Reason: reason, From: from, Meant: meant}
	for _, f := range r.scene.Fields { // in the order of the prompt
		if has(fields, f.Name) {
			a.Fields = append(a.Fields, f)
		}
	}
	r.asks = append(r.asks, a)
}

// askFor is ask with the value that each field would get.
func (r *reader) askFor(reason Reason, from string, values map[string]float64, fields ...string) {
	r.ask(reason, from, nil, fields...)
	r.asks[len(r.asks)-1].values = values
}

func (r *reader) holdsNumber() bool {
	return slices.ContainsFunc(r.tokens, func(t token) bool { return t.kind == num })
}

// notAReport asks back about numbers that are wished, remembered or another
// person's.
func (r *reader) notAReport() Reading {
	if !r.holdsNumber() {
		return Reading{Kind: Unknown}
	}
	return Reading{Kind: Asked, Asks: []Ask{{Reason: Unclear, From: strings.TrimSpace(r.text)}}}
}

// report gathers everything that the text may tell.
func (r *reader) report() {
	if r.note() {
		return
	}
	for i := range r.tokens {
		r.use(i, r.oneOf(i, topics["dunno"])) // "49, no idea about the voltage"
	}
	r.loadLine()
	r.firmware()
	r.outcomes()
	r.choices()
	r.scores()
	r.numbers()
}

// settle keeps the fields with exactly one value.
func (r *reader) settle() Reading {
	out := Reading{Values: trial.Values{}, Aside: r.aside}
	for _, f := range r.scene.Fields {
		list := r.taken[f.Name]
		if len(list) == 0 {
			continue
		}
		if !allEqual(list) {
			r.ask(TwoValues, list[0].from+" / "+list[len(list)-1].from, nil, f.Name)
			continue
		}
		out.Values[f.Name] = list[0].value
		out.Found = append(out.Found, Found{Field: f, Value: list[0].value, From: list[0].from})
	}
	out.Asks = r.asks
	switch {
	case len(out.Found) > 0:
		out.Kind = Draft
	case len(out.Asks) > 0 || len(out.Aside) > 0:
		out.Kind = Asked
	default:
		out.Kind = Unknown
	}
	return out
}

func allEqual(list []taken) bool {
	for _, t := range list[1:] {
		a, rows := t.value.([]trial.Row)
		b, too := list[0].value.([]trial.Row)
		if rows || too {
			if !slices.EqualFunc(a, b, func(x, y trial.Row) bool { return x["score"] == y["score"] }) {
				return false
			}
			continue
		}
		if t.value != list[0].value {
			return false
		}
	}
	return true
}
