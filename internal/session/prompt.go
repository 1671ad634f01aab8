package session

import (
	"slices"
	"strings"

	"belay/internal/event"
	"belay/internal/flow"
	"belay/internal/planner"
	"belay/internal/trial"
)

// Prompt returns what the session asks now.
func (s *State) Prompt() *Prompt {
	here := s.Here()
	fill := s.words()
	p := &Prompt{
		ID: s.PromptID(), State: here.ID, Stage: here.Stage, Title: fill(here.Title),
		Minutes: here.Minutes, Restarts: here.Restarts, Trial: here.Trial, Finished: s.Finished(),
		Messages: s.messages(here, fill),
		Cautions: []Caution{}, Fields: []Field{}, Actions: []Action{},
	}
	if here.Trial || here.Plan != "" {
		p.Proposal = s.Proposal
	}
	p.Messages = append(p.Messages, s.evidenceMessages(here)...)
	if here.Trial && s.Proposal != nil {
		p.Minutes = float64(s.Proposal.Minutes)
	}
	if f := s.found(); f != nil {
		p.Found = &Found{From: f.From, Says: f.Says, Certainty: f.Certainty, Evidence: f.Evidence}
	}
	for _, id := range here.Cautions {
		p.Cautions = append(p.Cautions, fillCaution(s.graph.Cautions[id], fill))
	}
	for _, use := range here.Fields {
		p.Fields = append(p.Fields, s.field(use, fill))
	}
	for _, a := range here.Actions {
		p.Actions = append(p.Actions, Action{Name: a.Name, Label: fill(a.Label), Needs: orEmpty(a.Needs)})
	}
	if s.Simulates() {
		p.Actions = append(p.Actions, Action{Name: "simulate", Label: "Let the simulated PC answer", Needs: []string{}})
	}
	if here.ID != s.graph.StopState && !here.End {
		p.Actions = append(p.Actions, Action{Name: "stop", Label: "Stop here for now", Needs: []string{}})
	}
	return p
}

// Simulates reports whether the simulated PC can answer the present prompt.
func (s *State) Simulates() bool {
	here := s.Here()
	return s.Practice != nil && (here.Trial || here.Confirms || here.Machine)
}

func (s *State) messages(here *flow.State, fill func(string) string) []Message {
	out := []Message{}
	add := func(kind, text string) {
		if text != "" {
			out = append(out, Message{Kind: kind, Text: fill(text)})
		}
	}
	add("say", here.Say)
	for _, line := range here.Do {
		add("do", line)
	}
	add("see", here.See)
	add("if_fails", here.IfFails)
	return out
}

func fillCaution(c *flow.Caution, fill func(string) string) Caution {
	return Caution{
		ID: c.ID, Signal: c.Signal, Hazard: fill(c.Hazard), Consequence: fill(c.Consequence),
		Avoid: fill(c.Avoid), Limit: fill(c.Limit), WayBack: fill(c.WayBack),
	}
}

func (s *State) field(use flow.FieldUse, fill func(string) string) Field {
	f := describe(s.graph.Fields[use.Name], fill)
	f.Required, f.NeededIf, f.Readback = use.Required, use.NeededIf, use.Readback
	for _, name := range s.graph.Fields[use.Name].Columns {
		f.Columns = append(f.Columns, describe(s.graph.Fields[name], fill))
	}
	f.Default = s.defaultFor(use.Name)
	if f.Default == nil {
		f.Default, f.Source = s.readFor(use.Name)
	}
	return f
}

func describe(d *flow.Field, fill func(string) string) Field {
	f := Field{
		Name: d.Name, Label: fill(d.Label), Kind: d.Kind, Unit: d.Unit, Example: d.Example,
		Help: strings.TrimSpace(fill(d.Why) + " " + fill(d.Where)), Unknown: fill(d.Unknown),
	}
	switch d.Kind {
	case "number":
		f.Min, f.Max = &d.Min, &d.Max
		if d.Step > 0 {
			f.Step = &d.Step
		}
	case "choice":
		for _, c := range d.Choices {
			f.Choices = append(f.Choices, Choice{Value: c.Value, Label: fill(c.Label)})
		}
	case "readings":
		f.Rows = &d.Rows
	}
	return f
}

// measured are the fields that are read anew in each trial, so that an older
// answer is never offered again.
var measured = []string{
	"outcome", "minutes", "minutes_to_failure", "load_voltage_v", "core_temp_c", "package_power_w", "clock_mhz",
	"score", "scores", "readings", "errors_found", "coverage_gb",
}

// found is what Belay found out about the trial that this prompt asks for.
func (s *State) found() *event.TrialFound {
	if s.Found == nil || !s.Here().Trial || s.Found.N != len(s.Trials)+1 {
		return nil
	}
	return s.Found
}

// defaultFor is what Belay found out itself, the proposed value of a setting, else the newest answer to a
// field that does not change by itself.
func (s *State) defaultFor(name string) any {
	here := s.Here()
	if f := s.found(); f != nil && f.Values[name] != nil {
		return f.Values[name]
	}
	if slices.Contains(measured, name) || here.Trial && name == "data_rate_mts" {
		return nil
	}
	if here.Confirms && s.Proposal != nil && slices.Contains(trial.SettingNames(), name) {
		if v, ok := s.Proposal.Settings.Values()[name]; ok {
			return v
		}
		return nil
	}
	if v, ok := s.Values[name]; ok {
		return v
	}
	return nil
}

func orEmpty(names []string) []string {
	if names == nil {
		return []string{}
	}
	return names
}

// View returns the session as a caller sees it.
func (s *State) View() View {
	v := View{
		ID: s.ID, Title: s.Title, Flow: s.Flow, Stage: s.Here().Stage, State: s.At, Stages: s.Stages(),
		Settings: s.Settings, Evidence: s.Evidence(), Version: s.Version, Practice: s.Practice,
		Finished: s.Finished(), Started: s.Started, Updated: s.Updated,
	}
	if k := s.Keep(); k != nil {
		v.Keep = &k.Keep
	}
	return v
}

// Stages returns the ladder with what is done.
func (s *State) Stages() []StageView {
	active := s.Here().Stage
	if s.At == s.graph.StopState && s.ReturnTo != "" {
		active = s.graph.State(s.ReturnTo).Stage
	}
	at := slices.IndexFunc(s.graph.Stages, func(st flow.Stage) bool { return st.ID == active })
	var out []StageView
	for i, st := range s.graph.Stages {
		v := StageView{ID: st.ID, Title: st.Title, Purpose: st.Purpose, Minutes: st.Minutes, Status: "pending"}
		switch {
		case i == at && s.Finished():
			v.Status = "done"
		case i == at:
			v.Status = "active"
		case i < at && s.Skipped[st.ID]:
			v.Status = "skipped"
		case i < at:
			v.Status = "done"
		}
		out = append(out, v)
	}
	return out
}

// facts are what the branch conditions may ask.
func (s *State) facts() flow.Facts {
	f := flow.Facts{
		Practice:      s.Practice != nil,
		LoadLineTries: s.Levels,
		HasKit:        s.Machine.KitRate > planner.StandardRate(s.Machine.MemoryStandard),
	}
	stage := s.Here().Stage
	counting, crashing := true, true
	for _, t := range slices.Backward(s.Trials) {
		if t.Stage != stage {
			continue
		}
		f.TrialsHere++
		bad := t.Outcome.Failed() || t.Outcome.Hot()
		counting = counting && bad
		crashing = crashing && t.Outcome.Crash()
		if counting {
			f.FailuresInRow++
		}
		if crashing {
			f.CrashesInRow++
		}
	}
	f.CapInForce = planner.CapInForce(s.Machine, s.Trials)
	droop, over := planner.Droop(s.LoadLine)
	f.Overshoot = over > float64(planner.MeterSlack)*1000
	f.DroopTooLarge = droop > s.graph.Platform.Limits.LoadLineDroopMV
	if t := s.newestTrial(); t != nil && t.Readings.DataRate > 0 {
		f.RateAsSet = planner.SameRate(t.Readings.DataRate, t.Settings.DataRate)
	}
	if g := s.gainHere(); g != nil {
		f.Gain, f.GainMeasurable = (g.Ratio-1)*100, g.Verdict == faster
	}
	f.Suspect, _ = s.suspect()
	return f
}

func (s *State) newestTrial() *trial.Trial {
	if len(s.Trials) == 0 {
		return nil
	}
	return &s.Trials[len(s.Trials)-1]
}

// SheetCautions are the cautions that belong on the sheet: those of the step
// that applies the settings for daily use, with their numbers.
func (s *State) SheetCautions() []Caution {
	seen := map[string]bool{}
	out := []Caution{}
	for _, st := range s.graph.States {
		if st.Plan != "daily" && st.Plan != "together" {
			continue
		}
		for _, id := range st.Cautions {
			if !seen[id] {
				seen[id] = true
				out = append(out, fillCaution(s.graph.Cautions[id], s.words()))
			}
		}
	}
	return out
}
