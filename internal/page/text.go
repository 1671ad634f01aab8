package page

import (
	"regexp"
	"strconv"
	"strings"
	"time"

	"belay/internal/wording"
)

// piece is a stretch of text. With Href it is a link to the glossary.
type piece struct{ Text, Href string }

// linked cuts text at its [[term]] and [[term|words]] marks. base is the path
// of the session.
func linked(base, text string) []piece {
	var out []piece
	for _, s := range wording.Spans(text) {
		p := piece{Text: s.Text}
		if s.Term != "" {
			p.Href = base + "/glossary#" + slug(s.Term)
		}
		out = append(out, p)
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

// minutes prints a usual span of time, such as "60 to 150 min".
func minutes(span [2]int) string {
	switch {
	case span[1] == 0 && span[0] == 0:
		return ""
	case span[0] == span[1]:
		return wording.Minutes(float64(span[0]))
	case span[1] < 120:
		return strconv.Itoa(span[0]) + " to " + strconv.Itoa(span[1]) + wording.NBSP + "min"
	}
	return wording.Minutes(float64(span[0])) + " to " + wording.Minutes(float64(span[1]))
}
