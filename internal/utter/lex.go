package utter

import (
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

type tokenKind int

const (
	word tokenKind = iota
	num
	mark // punctuation
)

// token is one piece of the text. Texts are in lower case, without
// apostrophes.
type token struct {
	kind       tokenKind
	text       string
	start, end int  // bytes of the original text
	glued      bool // nothing stands between this token and the one before
	used       bool // explained by something that was understood
	label      bool // part of a field's whole label
	counted    bool // part of a number with its unit

	// Numbers only.
	value   float64
	raw     string // digits as typed, in plain form
	spelled bool   // in words
	bad     bool   // not one plain number: 1.2.3, 7:20, 2x16
	twoWays bool   // 1,250
	signed  bool
}

// fold brings the many forms of one character together.
func fold(r rune) rune {
	switch r {
	case '’', '‘', '`', '´':
		return '\''
	case '−', '–', '—', '‑':
		return '-'
	case '×', '✕':
		return 'x'
	case '\u00a0', '\u202f', '\u2009', '\t', '\r':
		return ' '
	case 'º', '˚':
		return '°'
	}
	return unicode.ToLower(r)
}

type lexer struct {
	runes []rune // folded
	at    []int  // byte offset of each rune, and of the end
	pos   int
	out   []token
}

func lex(text string) []token {
	l := &lexer{}
	for i, r := range text {
		if r == '℃' || r == '℉' { // two characters in one
			l.runes, l.at = append(l.runes, '°'), append(l.at, i)
			r = map[rune]rune{'℃': 'c', '℉': 'f'}[r]
		}
		if r == utf8.RuneError {
			r = ' '
		}
		l.runes, l.at = append(l.runes, fold(r)), append(l.at, i)
	}
	l.at = append(l.at, len(text))
	for l.pos < len(l.runes) {
		l.next()
	}
	return l.out
}

func isDigit(r rune) bool  { return r >= '0' && r <= '9' }
func isLetter(r rune) bool { return unicode.IsLetter(r) || r == '\'' }

func (l *lexer) peek(i int) rune {
	if l.pos+i < 0 || l.pos+i >= len(l.runes) {
		return ' '
	}
	return l.runes[l.pos+i]
}

func (l *lexer) emit(t token, from int) {
	t.start, t.end = l.at[from], l.at[l.pos]
	t.glued = from > 0 && l.runes[from-1] != ' ' && l.runes[from-1] != '\n'
	l.out = append(l.out, t)
}

// splits are words to which a number may be glued: cl16, x49, v1.25.
var splits = []string{"x", "v", "cl", "trcd", "trp", "tras", "ratio", "vcore", "level", "llc", "score", "temp"}

func (l *lexer) next() {
	from, r := l.pos, l.runes[l.pos]
	switch {
	case r == ' ':
		l.pos++
	case isDigit(r), r == '.' && isDigit(l.peek(1)) && !isDigit(l.peek(-1)),
		(r == '-' || r == '+') && (isDigit(l.peek(1)) || l.peek(1) == '.' && isDigit(l.peek(2))) && l.startsNumber():
		l.number(from)
	case isLetter(r):
		for isLetter(l.peek(0)) {
			l.pos++
		}
		text := strings.ReplaceAll(string(l.runes[from:l.pos]), "'", "")
		if isDigit(l.peek(0)) && !has(splits, text) && !l.afterNumber(from) {
			for isDigit(l.peek(0)) || isLetter(l.peek(0)) { // a name: ddr4, f12, pl1
				l.pos++
			}
			text = strings.ReplaceAll(string(l.runes[from:l.pos]), "'", "")
		}
		if text == "mt" && l.peek(0) == '/' && l.peek(1) == 's' && !isLetter(l.peek(2)) {
			l.pos += 2
			text = "mt/s"
		}
		l.emit(token{kind: word, text: text}, from)
	default:
		l.pos++
		if r == '-' && isLetter(l.peek(0)) && isLetter(l.peek(-2)) {
			return // load-line
		}
		l.emit(token{kind: mark, text: string(r)}, from)
	}
}

// startsNumber reports whether a sign here belongs to a number.
func (l *lexer) startsNumber() bool {
	before := l.peek(-1)
	return before == ' ' || before == '=' || before == ':' || before == '(' || before == '\n'
}

// afterNumber reports whether a word is glued to a number: 86c, 2x16.
func (l *lexer) afterNumber(from int) bool {
	n := len(l.out)
	return n > 0 && l.out[n-1].kind == num && l.out[n-1].end == l.at[from]
}

func (l *lexer) number(from int) {
	t := token{kind: num}
	if l.runes[from] == '-' || l.runes[from] == '+' {
		t.signed = true
		l.pos++
	}
	for isDigit(l.peek(0)) || (l.peek(0) == '.' || l.peek(0) == ',') && isDigit(l.peek(1)) {
		l.pos++
	}
	raw := string(l.runes[from:l.pos])
	if l.peek(0) == ':' && isDigit(l.peek(1)) { // 7:20
		t.bad = true
		for isDigit(l.peek(0)) || l.peek(0) == ':' {
			l.pos++
		}
	}
	t.read(raw)
	if before := l.runes[:from]; len(before) > 1 && strings.ContainsRune(",.", before[from-1]) && isDigit(before[from-2]) {
		t.bad = true // the rest of a name that ends in a figure: A0,10
	}
	l.emit(t, from)
}

// read settles the value. A comma is a decimal mark only where it cannot
// group thousands.
func (t *token) read(raw string) {
	t.text = raw
	commas, points := strings.Count(raw, ","), strings.Count(raw, ".")
	at := strings.IndexByte(raw, ',')
	switch {
	case points > 1, commas > 0 && points > 0, commas > 1:
		t.bad = true
	case commas == 1:
		whole := strings.TrimLeft(raw[:at], "+-")
		t.twoWays = len(raw)-at-1 == 3 && whole != "" && whole != "0"
		raw = strings.Replace(raw, ",", ".", 1)
	}
	if len(raw) > 20 {
		t.bad = true
	}
	t.raw = strings.TrimPrefix(raw, "+")
	v, err := strconv.ParseFloat(t.raw, 64)
	if err != nil || math.IsInf(v, 0) {
		t.bad = true
		return
	}
	t.value = v
}

func has(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}
