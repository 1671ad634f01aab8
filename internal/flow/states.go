package flow

import (
	"fmt"
	"slices"
	"strings"

	"belay/internal/safety"
	"belay/internal/trial"
)

// searches are the plans that a state may name.
var searches = []string{"stock", "power-cap", "memory-profile", "voltage-mode", "core", "wide-vector", "memory", "cache", "together", "daily"}

// maxDo is the most actions in a list. Source: docs/formats/flow.md.
const maxDo = 7

// draftStates lists the states of the file, then those that patterns add to
// each stage, and checks each by itself.
func (l *loader) draftStates() {
	for i := range l.raw.States {
		l.draft(&l.raw.States[i], fmt.Sprintf("states[%d]", i), "")
	}
	for name, states := range l.raw.Patterns {
		for i := range states {
			if !strings.HasPrefix(states[i].ID, ".") || states[i].Stage != "" {
				l.flow.refuse(fmt.Sprintf("patterns.%s[%d].id", name, i), "Begin the id with a point and leave stage out.", "The state %q of a pattern belongs to no fixed stage.", states[i].ID)
			}
		}
	}
	for _, st := range l.raw.Stages {
		for _, p := range st.Patterns {
			for i := range l.raw.Patterns[p] {
				if !strings.HasPrefix(l.raw.Patterns[p][i].ID, ".") {
					continue // said above
				}
				l.draft(&l.raw.Patterns[p][i], fmt.Sprintf("patterns.%s[%d]", p, i), st.ID)
			}
		}
		if !slices.ContainsFunc(l.drafts, func(d *draft) bool { return d.Stage == st.ID }) {
			l.flow.refuse(l.stagePath(st.ID), "Add a state, or remove the stage.", "The stage %s has no state.", st.ID)
		}
	}
}

func (l *loader) stagePath(id string) string {
	return fmt.Sprintf("stages[%d].id", slices.IndexFunc(l.raw.Stages, func(s rawStage) bool { return s.ID == id }))
}

func (l *loader) draft(raw *rawState, path, stage string) {
	d := &draft{raw: raw, path: path, name: raw.ID}
	d.State = &State{
		ID: raw.ID, Stage: raw.Stage, Title: raw.Title, Say: raw.Say, Do: raw.Do, See: raw.See, IfFails: raw.IfFails,
		Minutes: raw.Minutes, Restarts: raw.Restarts, Cautions: raw.Cautions, Touches: slices.Clone(raw.Touches),
		Plan: raw.Plan, Confirms: raw.Confirms, Trial: raw.Trial, Machine: raw.Machine, Failure: raw.Failure, End: raw.End,
	}
	l.identify(d, stage)
	l.checkState(d)
	l.checkUses(d)
	if l.graph.byID[d.ID] != nil {
		l.flow.refuse(path+".id", "Rename one of them.", "There are two states called %q.", d.ID)
	}
	l.graph.byID[d.ID] = d.State
	l.graph.States = append(l.graph.States, d.State)
	l.drafts = append(l.drafts, d)
}

// identify settles the id and the stage of a state.
func (l *loader) identify(d *draft, stage string) {
	path := d.path + ".id"
	if stage != "" {
		d.ID, d.Stage = stage+d.raw.ID, stage
	}
	prefix, name, pointed := strings.Cut(d.ID, ".")
	if !pointed {
		prefix, name = d.Stage, d.ID
	}
	if d.Stage == "" {
		d.Stage = prefix
	}
	switch {
	case !namePattern.MatchString(name):
		l.flow.refuse(path, "Write stage.name in lower-case letters, digits, - and _.", "%q cannot be the id of a state.", d.name)
	case d.Stage == "" && d.ID == l.raw.Stop: // stopped is no stage's part
	case !slices.ContainsFunc(l.raw.Stages, func(s rawStage) bool { return s.ID == d.Stage }):
		l.flow.refuse(path, meant(d.Stage, l.stageIDs()), "The state %q is in no known stage.", d.name)
	case pointed && prefix != d.Stage:
		l.flow.refuse(d.path+".stage", "Make them the same.", "The state %q says that it is in stage %q.", d.name, d.Stage)
	}
}

func (l *loader) stageIDs() []string {
	ids := make([]string, 0, len(l.raw.Stages))
	for _, s := range l.raw.Stages {
		ids = append(ids, s.ID)
	}
	return ids
}

// checkState checks the texts and marks of one state.
func (l *loader) checkState(d *draft) {
	l.require(l.flow, d.path, "state", map[string]string{"title": d.Title, "say": d.Say})
	for key, s := range map[string]string{"title": d.Title, "say": d.Say, "see": d.See, "if_fails": d.IfFails} {
		l.checkText(l.flow, d.path+"."+key, s)
	}
	for i, s := range d.Do {
		l.checkText(l.flow, fmt.Sprintf("%s.do[%d]", d.path, i), s)
	}
	if len(d.Do) > maxDo {
		l.flow.refuse(fmt.Sprintf("%s.do[%d]", d.path, maxDo), "Split the state.", "The state %s asks for %d actions; at most %d are kept in mind.", d.name, len(d.Do), maxDo)
	}
	if d.Restarts || d.Confirms || d.Trial {
		for _, part := range []struct {
			key   string
			empty bool
		}{{"do", len(d.Do) == 0}, {"see", d.See == ""}, {"if_fails", d.IfFails == ""}} {
			if part.empty {
				l.flow.refuse(join(d.path, part.key), "Add it: the person may be away from this page.", "The state %s has no %s, but it changes or tries something.", d.name, part.key)
			}
		}
	}
	if d.Minutes < 0 {
		l.flow.refuse(d.path+".minutes", "Write 0 or more.", "The state %s takes %v minutes.", d.name, d.Minutes)
	}
	if d.Plan != "" && !slices.Contains(searches, d.Plan) {
		l.flow.refuse(d.path+".plan", meant(d.Plan, searches), "There is no search called %q.", d.Plan)
	}
	if d.Failure != "" && (!slices.Contains(trial.Outcomes, d.Failure) || d.Failure == trial.Clean) {
		l.flow.refuse(d.path+".failure", meant(string(d.Failure), failing()), "%q is not an outcome that a state can deal with.", d.Failure)
	}
	l.checkNames(d.path+".cautions", "caution", d.Cautions, keys(l.graph.Cautions))
	l.checkNames(d.path+".touches", "hazard", touched(d.raw.Touches), touchNames())
}

// checkNames checks a list of names: known, and each once.
func (l *loader) checkNames(path, what string, names, known []string) {
	for i, name := range names {
		at := fmt.Sprintf("%s[%d]", path, i)
		switch {
		case !slices.Contains(known, name):
			l.flow.refuse(at, meant(name, known), "There is no %s called %q.", what, name)
		case slices.Contains(names[:i], name):
			l.flow.refuse(at, "Keep one.", "The %s %q is in the list twice.", what, name)
		}
	}
}

func touched(touches []safety.Touch) []string {
	names := make([]string, 0, len(touches))
	for _, t := range touches {
		names = append(names, string(t))
	}
	return names
}

func failing() []string {
	var out []string
	for _, o := range trial.Outcomes {
		if o != trial.Clean {
			out = append(out, string(o))
		}
	}
	return out
}

// checkUses checks the fields that a state asks for.
func (l *loader) checkUses(d *draft) {
	for i, u := range d.raw.Fields {
		path := fmt.Sprintf("%s.fields[%d]", d.path, i)
		if l.graph.Fields[u.Name] == nil {
			l.flow.refuse(path+".name", meant(u.Name, keys(l.graph.Fields)), "The state %s asks for %q, which is not a field.", d.name, u.Name)
			continue
		}
		if _, twice := d.Use(u.Name); twice {
			l.flow.refuse(path+".name", "Keep one.", "The state %s asks for %s twice.", d.name, u.Name)
		}
		if u.Required && len(u.NeededIf) > 0 {
			l.flow.refuse(path+".required", "Keep one of required and needed_if.", "The field %s is required and also needed only at times.", u.Name)
		}
		d.Fields = append(d.Fields, FieldUse(u))
	}
	for i, u := range d.raw.Fields {
		for _, other := range keys(u.NeededIf) {
			l.checkNeededIf(d, u, other, fmt.Sprintf("%s.fields[%d].needed_if.%s", d.path, i, other))
		}
	}
}

func (l *loader) checkNeededIf(d *draft, u rawUse, other, path string) {
	_, asked := d.Use(other)
	f := l.graph.Fields[other]
	if !asked || f == nil || other == u.Name {
		l.flow.refuse(path, "Name another field of the same state.", "The field %s depends on %q, which the state %s does not ask for.", u.Name, other, d.name)
		return
	}
	values := f.values()
	switch f.Kind {
	case choice:
	case yesno:
		values = []string{"yes", "no"}
	default:
		l.flow.refuse(path, "Use a choice or a yesno.", "The field %s depends on %s, which is neither a choice nor a yesno.", u.Name, other)
		return
	}
	for i, v := range u.NeededIf[other] {
		if !slices.Contains(values, v) {
			l.flow.refuse(fmt.Sprintf("%s[%d]", path, i), meant(v, values), "%s is never answered with %q.", other, v)
		}
	}
}
