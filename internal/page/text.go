package page

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"

	"belay/internal/units"
)

// nbsp is the no-break space between a number and its unit.
const nbsp = "\u00a0"

// piece is a stretch of text. With Href it is a link to the glossary.
type piece struct{ Text, Href string }

// numberUnit finds a number that a plain space parts from its unit.
var numberUnit = regexp.MustCompile(`(\d) (V|mV|MHz|W|°C|min|h|s|MT/s|GB/s|GB|ns|mΩ|%)([^\pL]|$)`)

// bound puts no-break spaces between numbers and their units.
func bound(text string) string {
	return numberUnit.ReplaceAllString(text, "$1"+nbsp+"$2$3")
}

// measure prints v with its unit, never parted.
func measure(unit string, v float64) string { return bound(units.Format(unit, v)) }

// linked cuts text at its [[term]] and [[term|words]] marks. An unclosed
// mark stays as it is. base is the path of the session.
func linked(base, text string) []piece {
	var out []piece
	for text != "" {
		before, rest, found := strings.Cut(text, "[[")
		inside, after, closed := strings.Cut(rest, "]]")
		if !found || !closed {
			return append(out, piece{Text: bound(text)})
		}
		if before != "" {
			out = append(out, piece{Text: bound(before)})
		}
		term, words, renamed := strings.Cut(inside, "|")
		if !renamed {
			words = term
		}
		out = append(out, piece{Text: bound(words), Href: base + "/glossary#" + slug(term)})
		text = after
	}
	return out
}

// linkedAll is linked for several texts.
func linkedAll(base string, texts []string) [][]piece {
	out := make([][]piece, 0, len(texts))
	for _, t := range texts {
		out = append(out, linked(base, t))
	}
	return out
}

// plain returns text without its marks, for places that hold no links.
func plain(text string) string {
	var b strings.Builder
	for _, p := range linked("", text) {
		b.WriteString(p.Text)
	}
	return b.String()
}

var notWord = regexp.MustCompile(`[^\pL\pN]+`)

// slug is the anchor of a glossary term.
func slug(term string) string {
	return "term-" + strings.Trim(notWord.ReplaceAllString(strings.ToLower(strings.TrimSpace(term)), "-"), "-")
}

// clockTime prints a time of day and, off today, the date.
func clockTime(t, now time.Time) string {
	t, now = t.Local(), now.Local()
	if t.Year() == now.Year() && t.YearDay() == now.YearDay() {
		return t.Format("15:04")
	}
	return t.Format("2 Jan 2006, 15:04")
}

// number prints v without an exponent and without needless zeros.
func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// minutes prints a usual span of time, such as "60 to 150 min".
func minutes(span [2]int) string {
	switch {
	case span[1] == 0 && span[0] == 0:
		return ""
	case span[0] == span[1]:
		return bound(units.FormatMinutes(float64(span[0])))
	case span[1] < 120:
		return strconv.Itoa(span[0]) + " to " + strconv.Itoa(span[1]) + nbsp + "min"
	}
	return bound(units.FormatMinutes(float64(span[0])) + " to " + units.FormatMinutes(float64(span[1])))
}

// about prints an estimate with its interval: "about 1.262 V (1.254 to
// 1.271)".
func about(unit string, low, mid, high float64) string {
	return "about " + measure(unit, mid) + " (" + bare(unit, low) + nbsp + "to" + nbsp + bare(unit, high) + ")"
}

// bare is measure without the symbol.
func bare(unit string, v float64) string {
	return strings.TrimRightFunc(strings.TrimSuffix(measure(unit, v), unit), unicode.IsSpace)
}

// chance says a probability in words and as parts of ten or a hundred.
func chance(p float64) string {
	words := "unlikely to hold"
	switch {
	case p >= 0.95:
		words = "very likely to hold"
	case p >= 0.8:
		words = "likely to hold"
	case p >= 0.6:
		words = "more likely than not to hold"
	case p >= 0.4:
		words = "as likely to hold as not"
	case p >= 0.2:
		words = "less likely than not to hold"
	}
	if p > 0.95 || p < 0.05 {
		return words + ": about " + strconv.Itoa(int(math.Round(math.Min(99, math.Max(1, p*100))))) + " such trials in 100"
	}
	return words + ": about " + strconv.Itoa(int(math.Round(p*10))) + " such trials in 10"
}
