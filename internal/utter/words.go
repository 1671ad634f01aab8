package utter

import (
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
	"override manual fixed static currently exactly went up peaked until stays stayed just only only like value got there @"))

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
