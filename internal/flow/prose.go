package flow

import (
	"regexp"
	"slices"
	"strings"
	"unicode"
)

// maxWords is the most words in a sentence. Chosen: short sentences are read
// right at once, also under stress.
const maxWords = 20

var (
	placeholder = regexp.MustCompile(`\{([^{}]*)\}`)
	termLink    = regexp.MustCompile(`\[\[([^\[\]|]*)(?:\|([^\[\]|]*))?\]\]`)
)

// Text is looked at where it stands: a text of a step may hold placeholders,
// a text without a step may not.

// checkText checks a text that is shown in a step.
func (l *loader) checkText(d *document, path, s string) {
	l.checkSentences(d, path, s)
	l.checkLinks(d, path, s)
	for _, m := range placeholder.FindAllStringSubmatch(s, -1) {
		if !slices.Contains(Placeholders, m[1]) {
			l.refuseIn(d, path, m[0], meant(m[1], Placeholders), "There is no placeholder %s.", m[0])
		}
	}
	if rest := placeholder.ReplaceAllString(s, ""); strings.ContainsAny(rest, "{}") {
		l.refuseIn(d, path, bracket(rest, "{}"), "Write {name}, with both braces.", "A brace has no partner.")
	}
}

// checkPlain checks a text that is shown outside a step.
func (l *loader) checkPlain(d *document, path, s string) {
	l.checkSentences(d, path, s)
	if d != l.glossary {
		l.checkLinks(d, path, s)
	}
	if strings.ContainsAny(s, "{}") {
		l.refuseIn(d, path, bracket(s, "{}"), "Say it in words.", "A text outside a step holds no placeholders.")
	}
}

func bracket(s, set string) string {
	i := strings.IndexAny(s, set)
	return s[i : i+1]
}

// checkLinks checks that linked terms are in the glossary.
func (l *loader) checkLinks(d *document, path, s string) {
	for _, m := range termLink.FindAllStringSubmatch(s, -1) {
		if !l.terms[strings.ToLower(m[1])] {
			l.refuseIn(d, path, m[0], meant(strings.ToLower(m[1]), keys(l.terms)), "The glossary has no term %q.", m[1])
		}
	}
	if rest := termLink.ReplaceAllString(s, ""); strings.Contains(rest, "[[") || strings.Contains(rest, "]]") {
		l.refuseIn(d, path, "[[", "Write [[term]] or [[term|other words]].", "A glossary link is not closed.")
	}
}

func (l *loader) checkSentences(d *document, path, s string) {
	for _, sentence := range sentences(shown(s)) {
		if n := words(sentence); n > maxWords {
			first := strings.Join(strings.Fields(sentence)[:4], " ")
			l.refuseIn(d, path, first, "Make two of it.", "A sentence of %d words begins with %q; at most %d are read at once.", n, first, maxWords)
		}
	}
}

// refuseIn adds a problem at the part of a text, if the part stands in the
// line where the text begins, else at the text.
func (l *loader) refuseIn(d *document, path, part, next, format string, args ...any) {
	at := d.find(path)
	if at.line <= len(d.lines) {
		line := []rune(d.lines[at.line-1])
		from := min(at.column-1, len(line))
		if i := strings.Index(string(line[from:]), part); i >= 0 && part != "" {
			at.column += len([]rune(string(line[from:])[:i]))
		}
	}
	d.refuseAt(at, next, format, args...)
}

// shown is a text as a reader sees it, with a placeholder as one word.
func shown(s string) string {
	s = termLink.ReplaceAllStringFunc(s, func(link string) string {
		m := termLink.FindStringSubmatch(link)
		if m[2] != "" {
			return m[2]
		}
		return m[1]
	})
	return placeholder.ReplaceAllString(s, "x")
}

// sentences splits a text at full stops, question and exclamation marks that
// end a word, and at empty lines.
func sentences(s string) []string {
	var out []string
	for _, paragraph := range strings.Split(s, "\n\n") {
		var now []string
		for _, word := range strings.Fields(paragraph) {
			now = append(now, word)
			if strings.HasSuffix(strings.TrimRight(word, `"')]`), ".") || strings.ContainsAny(word[len(word)-1:], "?!") {
				out, now = append(out, strings.Join(now, " ")), nil
			}
		}
		if len(now) > 0 {
			out = append(out, strings.Join(now, " "))
		}
	}
	return out
}

// words counts what has a letter or a digit in it.
func words(sentence string) int {
	n := 0
	for _, w := range strings.Fields(sentence) {
		if strings.IndexFunc(w, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }) >= 0 {
			n++
		}
	}
	return n
}
