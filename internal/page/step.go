package page

import (
	"strings"

	"belay/internal/card"
	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/wording"
)

// stepView is the present step, ready to print. Its parts stand in the order
// in which a person needs them.
type stepView struct {
	Prompt, Key string // hidden in every form of the step
	Where       string // "Stage 7 of 13: Core ratio and voltage"
	Title       string
	Restart     *restartView
	Meta        []string // how long it takes, whether the PC restarts
	Say         [][]piece
	Evidence    [][]piece // what the trials say now
	Refused     string    // action of a refused form, "" if none was
	Confirmed   []string  // odd values that were insisted on, each FIELD=VALUE
	Cautions    []cautionView
	Enter       *enterView
	Do          [][]piece
	See         [][]piece
	IfFails     [][]piece
	Expect      *expectView
	Fields      []fieldView
	Primary     *actionView // the one main button of the answer form
	Simulate    *actionView // practice: the simulated PC answers
	Others      []actionView
	Stop        *actionView // the flow's own stop, if it has one here
	Finished    bool
	LogTrial    int // trial whose readings a log can fill in; 0: none
}

// restartView says whether the PC may go down now.
type restartView struct {
	Safe bool
	Why  string
}

// cautionView is one warning with the word and the shape of its signal.
type cautionView struct {
	ID, Signal, Class, Icon                    string
	Hazard, Consequence, Avoid, Limit, WayBack []piece
}

// enterView is the table of what to enter in the firmware.
type enterView struct {
	Changed, Stays []wording.Row
}

// expectView says what the next trial is and what is expected of it.
type expectView struct {
	Run               string
	Because           []piece
	Lines             []wording.Pair
	Chance            string
	IfClean, IfFailed []piece
}

// actionView is one button of the answer form.
type actionView struct{ Name, Label string }

// problemLine is one line of the error summary.
type problemLine struct {
	Href    string // of the field, or ""
	Message string
}

// ShowsSee reports whether there is anything to look out for.
func (s stepView) ShowsSee() bool {
	return len(s.See) > 0 || s.Expect != nil &&
		(len(s.Expect.Lines) > 0 || s.Expect.Chance != "" || len(s.Expect.Because) > 0)
}

// Folded reports whether the answer form is the second choice, behind the
// simulated PC.
func (s stepView) Folded() bool { return s.Simulate != nil && len(s.Fields) > 0 }

func cautionViews(base string, in []session.Caution) []cautionView {
	out := make([]cautionView, 0, len(in))
	for _, c := range in {
		word, class, icon := wording.Signal(c.Signal)
		out = append(out, cautionView{
			ID: c.ID, Signal: word, Class: class, Icon: icon,
			Hazard: linked(base, c.Hazard), Consequence: linked(base, c.Consequence),
			Avoid: linked(base, c.Avoid), Limit: linked(base, c.Limit), WayBack: linked(base, c.WayBack),
		})
	}
	return out
}

// stepOf builds the view of prompt p in session v. typed holds what the
// person had typed when an answer was refused.
func stepOf(base string, v session.View, p session.Prompt, typed typedForm) stepView {
	s := stepView{
		Prompt: p.ID, Key: newKey(), Where: card.Where(v.Stages, p.Stage), Title: wording.Plain(p.Title), Meta: meta(p),
		Cautions: cautionViews(base, p.Cautions), Fields: fieldViews(base, p, v.Settings, typed), Finished: p.Finished,
	}
	if !typed.kept {
		s.Refused, s.Confirmed = typed.action, typed.confirmed
	}
	for _, m := range p.Messages {
		text := linked(base, m.Text)
		switch m.Kind {
		case "do":
			s.Do = append(s.Do, text)
		case "see":
			s.See = append(s.See, text)
		case "evidence":
			s.Evidence = append(s.Evidence, text)
		case "if_fails":
			s.IfFails = append(s.IfFails, text)
		default:
			s.Say = append(s.Say, text)
		}
	}
	if r := p.Restart; r != nil {
		s.Restart = &restartView{r.Safe, r.Why}
	}
	if p.Proposal != nil {
		if !p.Trial {
			changed, stays := wording.EnterTable(v.Settings, *p.Proposal)
			s.Enter = &enterView{changed, stays}
		}
		s.Expect = expectOf(base, *p.Proposal)
	}
	s.sortActions(p)
	return s
}

func meta(p session.Prompt) []string {
	var out []string
	switch {
	case p.Finished:
	case p.Minutes > 0:
		out = append(out, "Takes about "+wording.Minutes(p.Minutes))
	default:
		out = append(out, "Takes a minute or less")
	}
	if p.Restarts {
		out = append(out, "The PC restarts in this step")
	}
	return out
}

func expectOf(base string, p trial.Proposal) *expectView {
	e := &expectView{Because: linked(base, p.Because), IfClean: linked(base, p.IfClean), IfFailed: linked(base, p.IfFailed)}
	if p.Load != "" && p.Minutes > 0 {
		e.Run = wording.Load(p.Load) + " for " + wording.Minutes(float64(p.Minutes))
	}
	e.Lines = card.Expect(&p)
	if p.PassProbability > 0 {
		e.Chance = wording.Chance(p.PassProbability)
	}
	return e
}

// sortActions puts the prompt's actions in their fixed places: simulate,
// the main one, the others in their order, stop.
func (s *stepView) sortActions(p session.Prompt) {
	for _, a := range p.Actions {
		view := actionView{a.Name, wording.Plain(a.Label)}
		switch {
		case a.Name == "simulate":
			s.Simulate = &view
		case a.Name == "stop":
			s.Stop = &view
		case s.Primary == nil && !strings.HasPrefix(a.Name, "skip"):
			s.Primary = &view
		default:
			s.Others = append(s.Others, view)
		}
	}
	if s.Primary == nil && len(s.Others) > 0 {
		s.Primary, s.Others = &s.Others[0], s.Others[1:]
	}
}
