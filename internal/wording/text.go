package wording

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode"

	"belay/internal/trial"
	"belay/internal/units"
)

// NBSP is the no-break space between a number and its unit.
const NBSP = "\u00a0"

// numberUnit finds a number that a plain space parts from its unit.
var numberUnit = regexp.MustCompile(`(\d) (V|mV|MHz|W|°C|min|h|s|MT/s|GB/s|GB|ns|mΩ|%)([^\pL]|$)`)

// Bound puts no-break spaces between numbers and their units.
func Bound(text string) string {
	return numberUnit.ReplaceAllString(text, "$1"+NBSP+"$2$3")
}

// Span is a stretch of text. Term is the glossary term that it names, or "".
type Span struct{ Text, Term string }

// Spans cuts text at its [[term]] and [[term|words]] marks. An unclosed mark
// stays as it is.
func Spans(text string) []Span {
	var out []Span
	for text != "" {
		before, rest, found := strings.Cut(text, "[[")
		inside, after, closed := strings.Cut(rest, "]]")
		if !found || !closed {
			return append(out, Span{Text: Bound(text)})
		}
		if before != "" {
			out = append(out, Span{Text: Bound(before)})
		}
		term, words, renamed := strings.Cut(inside, "|")
		if !renamed {
			words = term
		}
		out = append(out, Span{Text: Bound(words), Term: term})
		text = after
	}
	return out
}

// Plain returns text without its marks, for places that hold no links.
func Plain(text string) string {
	var b strings.Builder
	for _, p := range Spans(text) {
		b.WriteString(p.Text)
	}
	return b.String()
}

// Paragraphs cuts a text at its line breaks.
func Paragraphs(text string) []string {
	var out []string
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line != "" {
			out = append(out, line)
		}
	}
	return out
}

// Measure prints v with its unit, never parted.
func Measure(unit string, v float64) string { return Bound(units.Format(unit, v)) }

// Bare is Measure without the symbol.
func Bare(unit string, v float64) string {
	return strings.TrimRightFunc(strings.TrimSuffix(Measure(unit, v), unit), unicode.IsSpace)
}

// About prints an estimate with its interval: "about 1.262 V (1.254 to
// 1.271)".
func About(unit string, low, mid, high float64) string {
	return "about " + Measure(unit, mid) + " (" + Bare(unit, low) + NBSP + "to" + NBSP + Bare(unit, high) + ")"
}

// Number prints v without an exponent and without needless zeros.
func Number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// Minutes prints a span of time, never parted from its unit.
func Minutes(m float64) string { return Bound(units.FormatMinutes(m)) }

// Hours prints a span in hours, rounded down where it is long.
func Hours(h float64) string {
	if h >= 10 {
		return strconv.Itoa(int(math.Floor(h))) + NBSP + "h"
	}
	return Minutes(h * 60)
}

// Percent prints a share that is never rounded up to certainty.
func Percent(p float64) string {
	return strconv.Itoa(int(math.Floor(math.Min(p, 0.99)*100+1e-9))) + NBSP + "%"
}

// Chance says a probability in words and as parts of ten or a hundred.
func Chance(p float64) string {
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

// Ran says how long a trial ran.
func Ran(t trial.Trial) string {
	switch {
	case t.TimeUnknown:
		return "within " + Minutes(float64(t.PlannedMinutes))
	case t.Minutes == 0 && t.Outcome.Failed():
		return "at once"
	}
	return Minutes(float64(t.Minutes))
}
