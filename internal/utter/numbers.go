package utter

import (
	"math"
	"regexp"
	"slices"
	"strings"

	"belay/internal/session"
	"belay/internal/units"
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

// timings takes four whole numbers joined by dashes or strokes as CL, tRCD,
// tRP and tRAS, where the step asks for all four.
func (r *reader) timings() {
	var four []string
	for _, f := range r.scene.Fields {
		if f.Unit == "clk" {
			four = append(four, f.Name)
		}
	}
	for i := 0; i < len(r.tokens); i++ {
		end := r.chainEnd(i)
		if end-i < 5 { // fewer than three numbers
			continue
		}
		count := (end - i + 1) / 2
		if len(four) != 4 || count != 4 || !r.fitTimings(i, four) {
			r.ask(Unclear, r.piece(i, end), nil, four...)
		} else {
			for k, f := range four {
				r.take(f, r.tokens[i+2*k].value, r.piece(i, end))
			}
		}
		for k := i - 1; k >= 0 && k >= i-2; k-- { // "timings" or "cl" before them
			if w := wordAt(r.tokens, k); w == "timings" || w == "cl" || w == "timing" {
				r.tokens[k].used = true
			}
		}
		r.use(i, end-i)
		i = end
	}
}

// chainEnd is the end of a chain of bare numbers that begins at i.
func (r *reader) chainEnd(i int) int {
	plain := func(k int) bool {
		return k < len(r.tokens) && r.tokens[k].kind == num && !r.tokens[k].bad && !r.tokens[k].twoWays && !r.tokens[k].used && !r.tokens[k].spelled
	}
	if !plain(i) || i > 0 && r.tokens[i].glued && r.tokens[i-1].kind == mark && strings.Contains("-/", r.tokens[i-1].text) {
		return i
	}
	end := i + 1
	for end+1 < len(r.tokens) && r.tokens[end].kind == mark && strings.Contains("-/", r.tokens[end].text) && r.tokens[end].glued &&
		r.tokens[end+1].glued && plain(end+1) && r.tokens[end].text == r.tokens[i+1].text {
		end += 2
	}
	return end
}

func (r *reader) fitTimings(i int, four []string) bool {
	for k, f := range four {
		if !fits(r.fields[f], r.tokens[i+2*k].value) {
			return false
		}
	}
	return true
}

// fits reports whether v is in the range of a number field, and whole where
// the field counts.
func fits(f session.Field, v float64) bool {
	if f.Kind != "number" || f.Min == nil || f.Max == nil || math.IsNaN(v) || v < *f.Min || v > *f.Max {
		return false
	}
	return !wholeUnits[f.Unit] || v == math.Trunc(v)
}

// wholeUnits are counted in whole numbers, as the check of answers has it.
var wholeUnits = map[string]bool{"×": true, "clk": true, "MT/s": true, "pieces": true}

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
	case t.spelled && t.value <= smallWord && !hasUnit && !foreignSet[next] && !r.nameBefore(i):
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

var shapeOfVolts = regexp.MustCompile(`^[01]\.\d{2,3}$`)

// assign gives the number to the one field that it can be meant for, or asks
// back.
func (r *reader) assign(a *amount) {
	from := r.piece(a.from, a.to)
	if a.hasName {
		from = a.name + " " + from
	}
	switch {
	case a.noun != "":
		r.choose(a, []string{a.noun}, from)
		return
	case a.hasName && len(a.named) == 0:
		r.notAsked(a, from)
		return
	case a.unit == "unclear" || a.unit == "kelvin":
		r.ask(Unclear, from, nil, r.unitFields(*a)...)
		return
	case a.time && !a.hasName:
		r.time(a, from)
		return
	case a.hasName:
		r.choose(a, a.named, from)
		return
	case !r.plainAround(a):
		r.ask(Unclear, from, nil, r.candidates(a)...)
		return
	case r.isCondition(a):
		r.ask(InForce, from, nil, r.candidates(a)...)
		return
	}
	r.choose(a, r.candidates(a), from)
}

// notAsked deals with a number whose name is of something else.
func (r *reader) notAsked(a *amount, from string) {
	for _, f := range r.scene.Fields {
		if f.Kind == "readings" && len(f.Columns) > 1 {
			r.ask(ByTable, from, nil, f.Name)
			return
		}
	}
	r.aside = append(r.aside, from)
}

// parse turns the number into the unit of the field.
func (r *reader) parse(a *amount, f session.Field) (float64, bool) {
	if f.Kind != "number" {
		return 0, false
	}
	if a.time {
		switch f.Unit {
		case "min":
			return a.value, true
		case "h":
			return math.Round(a.value/60*1000) / 1000, true
		}
		return 0, false
	}
	v, err := units.Parse(f.Unit, r.tokens[a.at].raw+a.unit)
	if err != nil {
		return 0, false
	}
	if f.Unit == "°C" && a.unit == "f" {
		v = math.Round(v*10) / 10 // sensors show no more
	}
	return v, true
}

// unitFields are the fields that take the unit of the number.
func (r *reader) unitFields(a amount) []string {
	var out []string
	for _, f := range r.scene.Fields {
		if _, ok := r.parse(&a, f); ok && (a.unit != "" || a.noun == "") && a.unit != "unclear" {
			out = append(out, f.Name)
		}
	}
	return out
}

// candidates are the fields that an unnamed number may be meant for.
func (r *reader) candidates(a *amount) []string {
	if a.unit != "" {
		return r.unitFields(*a)
	}
	raw := r.tokens[a.at].raw
	var all, volts []string
	for _, f := range r.scene.Fields {
		if f.Kind != "number" || !fits(f, a.value) {
			continue
		}
		if f.Unit == "V" {
			if !strings.Contains(raw, ".") {
				continue // nobody types a voltage as 1
			}
			volts = append(volts, f.Name)
		}
		all = append(all, f.Name)
	}
	if shapeOfVolts.MatchString(raw) && len(volts) > 0 {
		return volts
	}
	return all
}

// choose takes the value for the only field of the list that it fits.
func (r *reader) choose(a *amount, list []string, from string) {
	var in, out []string
	value := map[string]float64{}
	for _, name := range list {
		f := r.fields[name]
		v, ok := r.parse(a, f)
		if !ok {
			continue
		}
		value[name] = v
		if fits(f, v) {
			in = append(in, name)
		} else {
			out = append(out, name)
		}
	}
	switch {
	case len(in) == 1:
		r.accept(a, r.fields[in[0]], value[in[0]], from)
	case len(in) > 1:
		r.askFor(TwoFields, from, value, in...)
	case len(out) == 1 && value[out[0]] >= *r.fields[out[0]].Min && value[out[0]] <= *r.fields[out[0]].Max:
		r.ask(NotWhole, from, nil, out...)
	case len(out) > 0:
		r.ask(OutOf, from, r.meant(value, out), out...)
	default:
		r.askSlip(a, list, from)
	}
}

// askSlip asks back about a number that fits nothing as it stands, with the
// one field that it would fit after a usual slip of the unit.
func (r *reader) askSlip(a *amount, list []string, from string) {
	var field string
	var meant *float64
	for _, f := range r.scene.Fields {
		if f.Kind != "number" || a.time || f.Unit == "min" || f.Unit == "h" || f.Unit == "GB" {
			continue
		}
		s, ok := units.SlipOf(f.Unit, r.tokens[a.at].value, *f.Min, *f.Max)
		if !ok || !fits(f, s.Value) || a.unit != "" && !strings.EqualFold(a.unit, s.Unit) || f.Unit == "MT/s" && !r.isHalfRate(a.value) {
			continue
		}
		if meant != nil {
			r.ask(Unclear, from, nil, list...)
			return
		}
		field, meant = f.Name, &s.Value
	}
	if meant == nil {
		r.ask(Unclear, from, nil, list...)
		return
	}
	r.ask(OutOf, from, meant, field)
}

// meant is what a slip of the unit would explain, where one field explains it.
func (r *reader) meant(value map[string]float64, list []string) *float64 {
	if len(list) != 1 {
		return nil
	}
	f := r.fields[list[0]]
	s, ok := units.SlipOf(f.Unit, value[f.Name], *f.Min, *f.Max)
	if !ok || !fits(f, s.Value) {
		return nil
	}
	return &s.Value
}

// accept takes a value that fits one field, unless what is known says that it
// may be meant otherwise.
func (r *reader) accept(a *amount, f session.Field, v float64, from string) {
	switch {
	case f.Readback && a.hedged:
		r.ask(Inexact, from, nil, f.Name)
	case f.Name == "load_voltage_v" && r.scene.Trial && r.isSet(v) && !(a.hasName && len(a.named) == 1 && saysLoad(a.name)):
		r.ask(InForce, from, nil, f.Name)
	case f.Unit == "MT/s" && r.isHalfRate(v):
		double := 2 * v
		r.ask(TwoWays, from, &double, f.Name)
	case f.Name == "offset_v" && a.unit == "" && !r.tokens[a.at].signed && !strings.Contains(r.tokens[a.at].raw, "."):
		r.ask(Unclear, from, nil, f.Name)
	default:
		r.take(f.Name, v, from)
	}
}

func saysLoad(name string) bool {
	return slices.ContainsFunc([]string{"load", "measured", "sensor"}, func(w string) bool { return strings.Contains(name, w) })
}

// isSet reports whether v is the core voltage as it is set or proposed.
func (r *reader) isSet(v float64) bool {
	near := func(x units.Volt) bool { return x > 0 && math.Abs(float64(x)-v) < 0.0005 }
	return near(r.scene.Now.SetVoltage) || near(r.scene.Next.SetVoltage)
}

// isHalfRate reports a memory clock where the data rate is asked for.
func (r *reader) isHalfRate(v float64) bool {
	half := func(rate int) bool { return rate > 0 && math.Abs(2*v-float64(rate)) <= 20 }
	return half(r.scene.Now.DataRate) || half(r.scene.Next.DataRate)
}

// isCondition reports "at 1.255" in a trial: the setting rather than a
// reading.
func (r *reader) isCondition(a *amount) bool {
	if !r.scene.Trial || a.from == 0 {
		return false
	}
	before := r.tokens[a.from-1].text
	c := r.candidates(a)
	return (before == "at" || before == "@") && len(c) > 0 && r.fields[c[0]].Unit == "V"
}

// time gives an unnamed span to the run or to the failure, as the outcome
// says.
func (r *reader) time(a *amount, from string) {
	var spans []string
	for _, f := range r.scene.Fields {
		if f.Kind == "number" && (f.Unit == "min" || f.Unit == "h") {
			spans = append(spans, f.Name)
		}
	}
	_, run := r.fields["minutes"]
	_, failed := r.fields["minutes_to_failure"]
	prev := wordAt(r.tokens, a.from-1)
	switch {
	case !r.plainAround(a), len(spans) == 0, r.outcome == "no_boot":
		r.ask(Unclear, from, nil, spans...)
	case !run && !failed:
		r.choose(a, spans, from)
	case fails[r.outcome] && failed && !(r.outcome == "error" && prev == "in"):
		r.choose(a, []string{"minutes_to_failure"}, from)
	case r.outcome != "" && !fails[r.outcome] && run:
		r.choose(a, []string{"minutes"}, from)
	default:
		r.askFor(TwoFields, from, map[string]float64{"minutes": a.value, "minutes_to_failure": a.value}, spans...)
	}
}
