package utter

import (
	"slices"
	"strings"

	"belay/internal/session"
	"belay/internal/trial"
)

// note takes everything behind "note:" as the note.
func (r *reader) note() bool {
	f, ok := r.fields["note"]
	if !ok || wordAt(r.tokens, 0) != "note" || len(r.tokens) < 3 || r.tokens[1].text != ":" {
		return false
	}
	if text := strings.TrimSpace(r.text[r.tokens[1].end:]); text != "" && printable(text) {
		r.take(f.Name, text, text)
	}
	return true
}

func printable(text string) bool {
	return !strings.ContainsFunc(text, func(c rune) bool {
		return c < ' ' || c == 0x7f || c == '\ufffd' || c >= 0x80 && c < 0xa0 || c == 0xfeff || c >= 0x200b && c <= 0x200f || c >= 0x2028 && c <= 0x202e
	})
}

// links may stand between a name and its value.
var links = setOf(strings.Fields("is was were are at of to = : now shows showed show says said reads reached hit about around roughly approx approximately circa ~ set on in the a a an as by for measured read " +
	"currently exactly went up peaked until stays stayed just only only like value got there @"))

func (r *reader) linked(i int) bool {
	t := r.tokens[i]
	return t.kind == word && links[t.text] || t.kind == mark && strings.ContainsAny(t.text, "=:~@")
}

var lineWords = phrasesOf("load line calibration|load line level|load line|loadline|llc|loadline calibration|llc level")
var lineNames = setOf(strings.Fields("auto automatic high medium low extreme standard normal flat default"))

// loadLine takes the level's name as it was typed.
func (r *reader) loadLine() {
	if _, ok := r.fields["load_line"]; !ok {
		return
	}
	for i := 0; i < len(r.tokens); i++ {
		n, named := 0, false
		for _, p := range lineWords {
			if n = r.matchAt(i, p.words); n > 0 {
				named = true
				if p.words[len(p.words)-1] == "level" {
					n--
				}
				break
			}
		}
		at := i + n
		for named && at < len(r.tokens) && r.linked(at) {
			at++
		}
		end := r.levelAt(at, named)
		if end == 0 {
			continue
		}
		r.take("load_line", r.piece(at, end), r.piece(i, end))
		r.use(i, end-i)
		i = end - 1
	}
}

// levelAt returns where a level's name ends, or 0.
func (r *reader) levelAt(i int, named bool) int {
	isNum := func(k int) bool {
		return k < len(r.tokens) && r.tokens[k].kind == num && !r.tokens[k].bad && r.tokens[k].value >= 0 && r.tokens[k].value <= 20
	}
	switch w := wordAt(r.tokens, i); {
	case (w == "level" || w == "mode") && isNum(i+1) && (named || w == "level"):
		return i + 2
	case named && isNum(i), named && lineNames[w]:
		return i + 1
	}
	return 0
}

var versionWords = phrasesOf("bios version|firmware version|bios|firmware|uefi|version|uefi version")

// firmware takes the name of a version as it was typed.
func (r *reader) firmware() {
	if _, ok := r.fields["firmware_version"]; !ok {
		return
	}
	for i := 0; i < len(r.tokens); i++ {
		n := 0
		for _, p := range versionWords {
			if n = r.matchAt(i, p.words); n > 0 {
				break
			}
		}
		at := i + n
		for n > 0 && at < len(r.tokens) && r.linked(at) {
			at++
		}
		if n == 0 || at >= len(r.tokens) || r.tokens[at].spelled || !strings.ContainsFunc(r.tokens[at].text, isDigit) {
			continue
		}
		end := at + 1
		for end < len(r.tokens) && r.tokens[end].glued && r.tokens[end].kind != mark {
			end++
		}
		r.take("firmware_version", r.piece(at, end), r.piece(i, end))
		r.use(i, end-i)
		i = end - 1
	}
}

// noErrors say that the check found none.
var noErrors = phrasesOf("no errors|no error|zero errors|0 errors|without errors|without error|without any errors|without an error|error free|no errors found|no single error|not a single error|errors none")

// neutral are words that only look like an outcome.
var neutral = phrasesOf("error code|error codes|reset the|ok but|power button|errors found|time to failure|not sure|good evening|good morning|good day|restart button|stop here")

var negations = setOf(strings.Fields("not no never without nothing hardly neither"))

// outcomes finds how the trial ended.
func (r *reader) outcomes() {
	field, ok := r.fields["outcome"]
	if !ok {
		return
	}
	var heard []string
	hear := func(what, from string) {
		if !slices.Contains(heard, what) {
			heard = append(heard, what)
		}
		if what != crash {
			r.take("outcome", what, from)
		}
	}
	for i := 0; i < len(r.tokens); i++ {
		if n := r.oneOf(i, noErrors); n > 0 {
			if _, asked := r.fields["errors_found"]; asked {
				r.take("errors_found", 0.0, r.piece(i, i+n))
			}
			r.use(i, n)
			i += n - 1
			continue
		}
		if n := r.oneOf(i, neutral); n > 0 {
			i += n - 1
			continue
		}
		for _, p := range outcomes {
			n := r.matchAt(i, p.words)
			if n == 0 {
				continue
			}
			negated := i > 0 && negations[wordAt(r.tokens, i-1)] || i > 1 && negations[wordAt(r.tokens, i-2)] && wordAt(r.tokens, i-1) != ""
			switch {
			case negated && p.means == "clean":
				hear(crash, r.piece(i, i+n))
			case negated: // "did not crash" tells what did not happen
			case p.means == "error" && i > 0 && r.tokens[i-1].kind == num && r.tokens[i-1].value == 0:
			default:
				hear(p.means, r.piece(i, i+n))
			}
			r.use(i, n)
			i += n - 1
			break
		}
	}
	if r.heard = len(heard) > 0; r.heard && r.says(openEnds) {
		heard = append(heard, crash, "clean") // "froze or something": not settled
	}
	r.judge(heard, field)
}

// openEnds leave open what was meant.
var openEnds = phrasesOf("or something|or whatever|or similar|or so i think|or what|or maybe")

// judge settles what several words for the outcome mean together.
func (r *reader) judge(heard []string, field session.Field) {
	specific := slices.DeleteFunc(slices.Clone(heard), func(w string) bool { return w == crash })
	vague := len(specific) < len(heard)
	switch {
	case len(heard) == 0:
	case len(specific) == 1 && (!vague || fails[specific[0]] || specific[0] == "no_boot"):
		r.outcome = specific[0]
	default: // crash alone, or words that contradict each other
		delete(r.taken, "outcome")
		r.ask(Unclear, strings.TrimSpace(r.text), nil, field.Name)
		if r.outcome = crash; len(specific) > 0 && !fails[specific[0]] {
			r.outcome = ""
		}
	}
}

func (r *reader) oneOf(i int, list []phrase) int {
	for _, p := range list {
		if n := r.matchAt(i, p.words); n > 0 {
			return n
		}
	}
	return 0
}

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

// scores takes the numbers behind the word as the rows of a list with one
// column.
func (r *reader) scores() {
	for _, f := range r.scene.Fields {
		if f.Kind != "readings" || len(f.Columns) != 1 || f.Rows == nil {
			continue
		}
		for i := range r.tokens {
			if w := wordAt(r.tokens, i); r.same(w, f.Name) || r.same(w, f.Columns[0].Name) {
				r.rowsAt(i, f)
				return
			}
		}
	}
}

func (r *reader) rowsAt(i int, f session.Field) {
	column := f.Columns[0]
	rows, end := []trial.Row{}, i+1
	ok := true
	for k := i + 1; k < len(r.tokens); k++ {
		t := r.tokens[k]
		if t.kind == num {
			after := wordAt(r.tokens, k+1)
			if unitWords[after] != "" || countNouns[after] != "" && after != "points" {
				break
			}
			ok = ok && !t.bad && !t.twoWays && !t.spelled && column.Min != nil && t.value >= *column.Min && t.value <= *column.Max
			rows, end = append(rows, trial.Row{column.Name: t.value}), k+1
			continue
		}
		if t.kind == mark && strings.ContainsAny(t.text, ",;:/|") || t.text == "and" || t.text == "points" || len(rows) == 0 && r.linked(k) {
			continue
		}
		break
	}
	if len(rows) == 0 {
		return
	}
	r.use(i, end-i)
	if !ok || len(rows) < f.Rows[0] || len(rows) > f.Rows[1] {
		r.ask(ByTable, r.piece(i, end), nil, f.Name)
		return
	}
	r.take(f.Name, rows, r.piece(i, end))
}
