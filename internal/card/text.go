package card

import (
	"strings"
	"text/template"
	"unicode/utf8"

	"belay/internal/paper"
	"belay/internal/trial"
	"belay/internal/wording"
	"belay/web"
)

// Bounds of the plain card. Source: U32 of the design: twelve lines to copy by
// hand, and a code of at most paper.MostQR bytes.
const (
	mostLines = 12
	longLine  = 72 // characters, chosen: one line on a phone held sideways
)

var plain = template.Must(template.New("plain").Parse(web.Join("card/plain.txt")))

// Text returns the card as plain text of at most twelve lines.
func Text(d Data) string { return strings.Join(Lines(d), "\n") }

// Lines returns the lines of Text. A card with many settings leaves out what
// the document tells too, so that it still fits a code.
func Lines(d Data) []string {
	var out []string
	for _, short := range []int{0, 1, 2} {
		out = lines(d, short)
		if len(strings.Join(out, "\n")) <= paper.MostQR {
			break
		}
	}
	return out
}

func lines(d Data, short int) []string {
	changed, _ := d.Enter()
	words := struct {
		Title, Run, Stop, Next  string
		Restarts, NoBoot, Froze bool
	}{
		Title: cut(wording.Plain(d.Prompt.Title), longLine>>short), Restarts: d.Prompt.Restarts, NoBoot: d.WayBack != nil,
	}
	if d.Next != nil && short < 2 {
		words.Next = cut(wording.Plain(d.Next.Title), longLine/2)
	}
	for _, a := range d.Ahead {
		words.Froze = words.Froze || a.Outcome == trial.Froze && short < 1
	}
	if words.Run = d.Run(); short > 0 {
		words.Run = ""
	}
	if words.Run != "" && d.Stop > 0 {
		words.Stop = d.Stop.String()
	}
	var b strings.Builder
	if err := plain.Execute(&b, words); err != nil {
		panic("the embedded card does not fit its words: " + err.Error())
	}
	var out []string
	for _, line := range wording.Paragraphs(strings.ReplaceAll(b.String(), wording.NBSP, " ")) {
		if line == "SETTINGS" {
			out = append(out, settingLines(changed, longLine/2>>short)...)
			continue
		}
		out = append(out, line)
	}
	return out
}

// settingLines lists what to enter, one setting on a line; many settings
// share lines, so that the card stays short. longest bounds a value, in
// characters.
func settingLines(rows []wording.Row, longest int) []string {
	const most = 4
	var out []string
	for _, r := range rows {
		text := r.Label + " " + cut(strings.ReplaceAll(r.New, wording.NBSP, " "), longest)
		if len(rows) <= most {
			out = append(out, text+" (now "+cut(strings.ReplaceAll(r.Now, wording.NBSP, " "), longLine/3)+")")
			continue
		}
		if last := len(out) - 1; last >= 0 && utf8.RuneCountInString(out[last])+len(text)+2 <= longLine {
			out[last] += "; " + text
		} else {
			out = append(out, text)
		}
	}
	if over := len(out) - most; over > 0 {
		out = append(out[:most-1], strings.Join(out[most-1:], "; "))
	}
	return out
}

// cut shortens text to so many characters.
func cut(text string, most int) string {
	runes := []rune(strings.Join(strings.Fields(text), " "))
	if len(runes) <= most {
		return string(runes)
	}
	return string(runes[:most-1]) + "…"
}
