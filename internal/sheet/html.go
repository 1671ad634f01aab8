package sheet

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"strings"

	"belay/internal/fault"
	"belay/internal/paper"
	"belay/internal/session"
	"belay/web"
)

//go:embed sheet.css
var own string

// style is the tones of the pages, and the sheet's own rules.
var style = web.Join("shared/tones.css") + own

//go:embed sheet.html
var layout string

// page is what the layout prints.
type page struct {
	Style                                template.CSS // the embedded file, never a person's text
	Title, Session, Made, Left, Note     string
	Banners, ReEnter, Back               []string
	Blocks                               []block
	Conditions, Gains, Behind            []fact
	Proven, Other, NotProven, AfterReset string
	Rechecks                             []recheck
	Cautions                             []warning
	MoreCautions                         int
	CheckBack                            checkBack
	CheckHeads                           []string
	CodeHint                             string
	Code                                 template.HTML // drawn by package paper
}

// codeHint stands beside the code.
const codeHint = "Any phone reads this code as plain text, without a network. It holds every value above. Take it along when the firmware was reset and this sheet is the only screen."

// checkHeads are the columns to fill in over the months.
var checkHeads = []string{"Date", "Firmware", "Hours of load", "Resets, freezes"}

// otherTail is where the sheet departs from the proof, with a blank before it.
func (p page) otherTail() string {
	if p.Other == "" {
		return ""
	}
	return " " + p.Other
}

// More counts the cautions that have no room, "" if all have.
func (p page) More() string {
	if p.MoreCautions == 0 {
		return ""
	}
	return fmt.Sprintf("%d more in the other formats of this sheet.", p.MoreCautions)
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
// with its style in one block. A finished sheet with every setting prints on
// one page of A4 or Letter. Long notes and the less grave cautions are cut
// there, and the page says so.
func HTML(d Data) ([]byte, error) {
	p, code, err := d.page()
	if err != nil {
		return nil, err
	}
	t, err := template.New("sheet").Parse(layout)
	if err != nil {
		return nil, fault.Wrap("sheet.HTML", err)
	}
	p.Code = template.HTML(code.SVG("The settings as a code"))
	var b bytes.Buffer
	if err := t.Execute(&b, p); err != nil {
		return nil, fault.Wrap("sheet.HTML", err)
	}
	return b.Bytes(), nil
}

// page gathers what the printed page shows, within its limits.
func (d Data) page() (page, paper.Code, error) {
	if err := d.check(); err != nil {
		return page{}, paper.Code{}, err
	}
	code, err := d.code()
	if err != nil {
		return page{}, paper.Code{}, err
	}
	p := page{
		Style: template.CSS(style),
		Title: short(or(d.Title, "my PC"), mostTitle), Session: short(or(d.SessionID, "not known"), mostTitle),
		Made: d.Made.Format("2 January 2006"), Left: d.left(), Note: short(d.Note, mostNote),
		Banners: d.banners(), ReEnter: d.reEnter(), Back: backToStock(), Blocks: d.blocks(),
		Conditions: d.conditions(), Gains: d.gains(), Behind: d.behind(),
		Proven: short(d.proven(), mostSentence), Other: d.otherThanKeep(), NotProven: d.notProven(), AfterReset: afterReset,
		Rechecks: d.rechecks(), CheckBack: d.checkBack(), CheckHeads: checkHeads, CodeHint: codeHint,
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
	return p, code, nil
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
