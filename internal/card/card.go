// Package card makes the card to take along before the PC restarts: the whole
// step, every branch until the PC is up again and the way back, as one
// document for a phone that works without Belay, as a few lines of plain text
// for paper, and as a QR code of those lines.
//
// It is pure: the same Data gives the same bytes.
package card

import (
	"bytes"
	"html/template"
	"strconv"
	"strings"
	"sync"

	"belay/internal/fault"
	"belay/internal/paper"
	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/units"
	"belay/internal/wording"
	"belay/web"
)

// Data is all that a card tells.
type Data struct {
	Title    string // of the session
	Practice bool
	Stages   []session.StageView
	Now      trial.Settings // in the firmware
	Prompt   session.Prompt
	Next     *session.Prompt // what follows once the PC is up again; nil if the answer decides
	Ahead    []session.Ahead // what to do when it does not come up
	WayBack  *session.Prompt
	Stop     units.Celsius // the load is closed above this, 0 for not known

	Path string        // of the session on the page, "" for a card that answers nothing
	Form template.HTML // the page's own form for the present step, or ""
}

// Where names the place of a stage in the ladder.
func Where(stages []session.StageView, id string) string {
	for i, st := range stages {
		if st.ID == id {
			return "Stage " + strconv.Itoa(i+1) + " of " + strconv.Itoa(len(stages)) + ": " + wording.Plain(st.Title)
		}
	}
	return ""
}

// Enter returns what the step changes in the firmware, and what stays.
func (d Data) Enter() (changed, stays []wording.Row) {
	if d.Prompt.Proposal == nil || d.Prompt.Trial {
		return nil, nil
	}
	return wording.EnterTable(d.Now, *d.Prompt.Proposal)
}

// Run says the load that the proposal runs, or "".
func (d Data) Run() string {
	p := d.Prompt.Proposal
	if p == nil || p.Load == "" || p.Minutes <= 0 {
		return ""
	}
	return wording.Load(p.Load) + " for " + wording.Minutes(float64(p.Minutes))
}

// Expect lists what the load should show.
func Expect(p *trial.Proposal) []wording.Pair {
	if p == nil || p.Expect == nil {
		return nil
	}
	var out []wording.Pair
	for _, q := range []struct {
		label, unit string
		at          trial.Interval
	}{
		{"Load voltage", "V", p.Expect.LoadVoltage}, {"Hottest core", "°C", p.Expect.CoreTemp}, {"Package power", "W", p.Expect.PackagePower},
	} {
		if q.at[1] != 0 {
			out = append(out, wording.Pair{Label: q.label, Value: wording.About(q.unit, q.at[0], q.at[1], q.at[2])})
		}
	}
	return out
}

// Style is the style block of HTML: that of the page's step, and the card's own.
func Style() string {
	return web.Join("shared/tones.css", "shared/base.css", "session/step.css", "card/card.css")
}

// Script is the script block of HTML. Without it the card can be read all the
// same.
func Script() string { return web.Join("session/fields.js", "session/drafts.js", "card/card.js") }

// piece is a stretch of text. The page's templates ask for a link, which a
// card has not.
type piece struct{ Text, Href string }

func rich(text string) []piece {
	var out []piece
	for _, s := range wording.Spans(text) {
		out = append(out, piece{Text: s.Text})
	}
	return out
}

// step is a prompt in the shape of the page's templates.
type step struct {
	Title             string
	Outcome           trial.Outcome
	Say, Do, See      [][]piece
	IfFails           [][]piece
	Cautions          []caution
	Changed, Stays    []wording.Row
	Meta              []string
	Run               string
	Expect            []wording.Pair
	Minutes, WhatNext string
}

type caution struct {
	Signal, Class, Icon                        string
	Hazard, Consequence, Avoid, Limit, WayBack []piece
}

func stepOf(p session.Prompt) step {
	s := step{Title: wording.Plain(p.Title)}
	for _, m := range p.Messages {
		for _, text := range wording.Paragraphs(m.Text) {
			switch m.Kind {
			case "do":
				s.Do = append(s.Do, rich(text))
			case "see":
				s.See = append(s.See, rich(text))
			case "if_fails":
				s.IfFails = append(s.IfFails, rich(text))
			default:
				s.Say = append(s.Say, rich(text))
			}
		}
	}
	for _, c := range p.Cautions {
		word, class, icon := wording.Signal(c.Signal)
		s.Cautions = append(s.Cautions, caution{
			Signal: word, Class: class, Icon: icon, Hazard: rich(c.Hazard), Consequence: rich(c.Consequence),
			Avoid: rich(c.Avoid), Limit: rich(c.Limit), WayBack: rich(c.WayBack),
		})
	}
	if p.Minutes > 0 {
		s.Minutes = wording.Minutes(p.Minutes)
	}
	return s
}

// page is what the layout prints.
type page struct {
	Style, Script   template.HTML // embedded files, never a person's text
	Title, Session  string
	Path, PromptID  string
	Practice        bool
	Restarts, Trial bool
	Where           string
	Step            step
	Next, WayBack   *step
	Branches        []step
	Form            template.HTML
	Lines           []string
	QR              template.HTML
}

// HTML returns the card as one document: style, script and code stand in it,
// and it loads nothing.
func HTML(d Data) ([]byte, error) {
	t, err := layout()
	if err != nil {
		return nil, fault.Wrap("card.HTML", err)
	}
	code, err := paper.QR(Text(d))
	if err != nil {
		return nil, fault.Wrap("card.HTML", err)
	}
	p := page{
		Style: template.HTML("<style>" + Style() + "</style>"), Title: wording.Plain(d.Prompt.Title), Session: d.Title,
		Path: d.Path, PromptID: d.Prompt.ID, Practice: d.Practice, Restarts: d.Prompt.Restarts, Trial: d.Prompt.Trial,
		Where: Where(d.Stages, d.Prompt.Stage), Step: stepOf(d.Prompt), Form: d.Form,
		Lines: Lines(d), QR: template.HTML(code.SVG("The lines of this card as a code")),
	}
	if d.Path != "" {
		p.Script = template.HTML(`<script type="module">` + Script() + "</script>")
	}
	p.Step.Changed, p.Step.Stays = d.Enter()
	p.Step.Run, p.Step.Expect = d.Run(), Expect(d.Prompt.Proposal)
	if d.Next != nil {
		next := stepOf(*d.Next)
		p.Next = &next
	}
	for _, a := range d.Ahead {
		b := stepOf(a.Prompt)
		b.Outcome = a.Outcome
		p.Branches = append(p.Branches, b)
	}
	if d.WayBack != nil {
		back := stepOf(*d.WayBack)
		p.WayBack = &back
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "card", p); err != nil {
		return nil, fault.Wrap("card.HTML", err)
	}
	return b.Bytes(), nil
}

// layout reads the card's template with the parts that it shares with the
// page, so that both look the same.
var layout = sync.OnceValues(func() (*template.Template, error) {
	set := template.New("").Option("missingkey=error")
	for _, name := range []string{"shared/layout", "session/caution", "session/enter", "card/card"} {
		short := name[strings.LastIndexByte(name, '/')+1:]
		if _, err := set.New(short).Parse(web.Join(name + ".gohtml")); err != nil {
			return nil, err
		}
	}
	return set, nil
})
