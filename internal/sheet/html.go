package sheet

import (
	"bytes"
	_ "embed"
	"html/template"
	"strings"

	"belay/internal/fault"
	"belay/internal/session"
)

//go:embed sheet.css
var style string

//go:embed sheet.html
var layout string

// page is what the layout prints.
type page struct {
	Style                                template.CSS // the embedded file, never a person's text
	Title, Session, Made, Left, Note     string
	Banners, ReEnter, Back               []string
	Blocks                               []block
	Conditions, Gains                    []fact
	Proven, Other, NotProven, AfterReset string
	Rechecks                             []recheck
	Cautions                             []warning
	MoreCautions                         int
}

// Limits of the printed page. Chosen: a sheet with every setting then fits on
// one page of A4 or Letter; the other formats hold the whole text.
const (
	mostCautions = 5
	mostCaution  = 260 // characters
	mostNote     = 240 // characters
	mostTitle    = 70  // characters
	mostSentence = 400 // characters
)

// HTML returns the sheet as one document without scripts, images or links,
// with its style in one block. It prints on one page of A4 or Letter. Long
// notes and the less grave cautions are cut there, and the page says so.
func HTML(d Data) ([]byte, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	t, err := template.New("sheet").Parse(layout)
	if err != nil {
		return nil, fault.Wrap("sheet.HTML", err)
	}
	p := page{
		Style: template.CSS(style),
		Title: short(or(d.Title, "my PC"), mostTitle), Session: short(or(d.SessionID, "not known"), mostTitle),
		Made: d.Made.Format("2 January 2006"), Left: d.left(), Note: short(d.Note, mostNote),
		Banners: d.banners(), ReEnter: d.reEnter(), Back: backToStock(), Blocks: d.blocks(),
		Conditions: d.conditions(), Gains: d.gains(),
		Proven: short(d.proven(), mostSentence), Other: d.otherThanKeep(), NotProven: d.notProven(), AfterReset: afterReset,
		Rechecks: d.rechecks(),
	}
	for i, f := range p.Conditions {
		p.Conditions[i].Value = short(f.Value, mostTitle)
	}
	for i, c := range d.cautions() {
		if i < mostCautions {
			p.Cautions = append(p.Cautions, brief(c))
		} else {
			p.MoreCautions++
		}
	}
	var b bytes.Buffer
	if err := t.Execute(&b, p); err != nil {
		return nil, fault.Wrap("sheet.HTML", err)
	}
	return b.Bytes(), nil
}

// warning is a caution in brief.
type warning struct{ Signal, Text string }

// brief keeps the consequence and what avoids it; of a notice, which harms no
// person, only the first sentence of that. The hazard names one step of the
// session, so it stays with the other formats.
func brief(c session.Caution) warning {
	avoid := c.Avoid
	if first, _, more := strings.Cut(avoid, ". "); more && rank(c.Signal) >= rank("NOTICE") {
		avoid = first + "."
	}
	return warning{short(c.Signal, mostCaution), short(c.Consequence+" "+avoid, mostCaution)}
}

// Style returns the style block of HTML, for a content security policy that
// allows nothing else.
func Style() string { return style }

// short puts text on one line of at most limit characters.
func short(text string, limit int) string {
	runes := []rune(strings.Join(strings.Fields(text), " "))
	if len(runes) <= limit {
		return string(runes)
	}
	return strings.TrimSpace(string(runes[:limit])) + " … (the whole text is in the other formats)"
}
