package session

import (
	"slices"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/planner"
	"belay/internal/trial"
)

// Answer is the command to answer the present prompt.
type Answer struct {
	Prompt string
	Action string
	Values trial.Values
	Key    string // idempotency key, or ""
	By     string // "" the person, "practice" the simulated PC
	// Confirm names fields whose odd values are meant as they are.
	Confirm []string
}

// longestChain bounds how many states may follow each other without an
// answer. Chosen: twice the longest chain of the flow that comes with Belay;
// the flow check refuses endless ones.
const longestChain = 20

// Begin returns the events that open a session.
func Begin(g *flow.Graph, p event.SessionStarted) ([]event.Payload, error) {
	s := &State{graph: g, keys: map[string]int64{}, machine: newMachine(g)}
	s.Endings = map[string]trial.Ending{}
	d := &decision{state: s}
	if err := d.record(p); err != nil {
		return nil, err
	}
	return d.payloads, d.arrive()
}

// Decide returns the events that an answer yields. A stale prompt gives a
// Conflict fault, a bad answer an Invalid one with its fields, a setting past
// a limit an Unsafe one.
func (s *State) Decide(a Answer) ([]event.Payload, error) {
	if a.Prompt != s.PromptID() {
		return nil, fault.New(fault.Conflict,
			"This step was already answered.",
			"Look at the present step and answer that.")
	}
	here := s.Here()
	action, err := s.action(a.Action)
	if err != nil {
		return nil, err
	}
	values, wrong := s.graph.CheckValues(here, action, a.Values)
	if len(wrong) > 0 {
		return nil, badAnswer(wrong)
	}
	for _, name := range a.Confirm {
		if _, ok := values[fieldOf(name)]; !ok {
			return nil, badAnswer([]fault.Field{{Field: name, Message: "There is no answer here to confirm."}})
		}
	}
	d := &decision{state: s.fork(), odd: doubts{insists: a.insists}}
	if err := d.record(event.Answered{
		Prompt: a.Prompt, State: here.ID, Action: a.Action, Values: values, Key: a.Key, By: a.By, Confirmed: a.Confirm,
	}); err != nil {
		return nil, err
	}
	if err := d.consequences(here, action, values); err != nil {
		return nil, err
	}
	if err := d.leave(here, action, values); err != nil {
		return nil, err
	}
	return d.payloads, nil
}

func badAnswer(wrong []fault.Field) error {
	f := fault.New(fault.Invalid, "This answer needs a correction.", "Correct the fields that are named, and send it again.")
	f.Fields = wrong
	return f
}

// action finds the action of the present state; "stop" is one everywhere.
func (s *State) action(name string) (*flow.Action, error) {
	here := s.Here()
	for i := range here.Actions {
		if here.Actions[i].Name == name {
			return &here.Actions[i], nil
		}
	}
	if name == "stop" && here.ID != s.graph.StopState {
		return &flow.Action{Name: "stop", Branches: []flow.Branch{{To: s.graph.StopState}}}, nil
	}
	var names []string
	for _, a := range here.Actions {
		names = append(names, a.Name)
	}
	return nil, fault.Newf(fault.Invalid, "Use one of the actions that the prompt lists.",
		"This step has no action %q; it has %s.", name, list(names))
}

// Undo returns the event that takes back the newest answer.
func (s *State) Undo(key string) ([]event.Payload, error) {
	if !s.CanUndo() {
		return nil, fault.New(fault.Conflict, "There is no answer to take back.", "Answer the present step.")
	}
	return []event.Payload{event.AnswerTakenBack{Version: s.past[len(s.past)-1].version, Key: key}}, nil
}

// Intent returns the event to commit before the proposed trial starts, or
// none if it is committed already and nothing was found out about it since.
func (s *State) Intent(bootID string) ([]event.Payload, error) {
	if !s.Here().Trial || s.Proposal == nil {
		return nil, fault.New(fault.Conflict, "No trial is due in this step.", "Answer the present step first.")
	}
	if s.Running != nil && s.Found == nil {
		return nil, nil
	}
	return []event.Payload{event.TrialStarted{
		N: len(s.Trials) + 1, Load: s.Proposal.Load, Minutes: s.Proposal.Minutes, BootID: bootID,
	}}, nil
}

// decision gathers events while it applies each to its own copy of the state.
type decision struct {
	state    *State
	payloads []event.Payload
	odd      doubts // about the answer
}

func (d *decision) record(p event.Payload) error {
	d.state.Version++
	d.payloads = append(d.payloads, p)
	return d.state.apply(p)
}

// consequences records what an answer says beyond its values.
func (d *decision) consequences(here *flow.State, action *flow.Action, values trial.Values) error {
	s := d.state
	switch {
	case here.Confirms && action.Name == "entered":
		settings, err := s.enteredSettings(values, &d.odd)
		if err != nil {
			return err
		}
		return d.record(event.SettingsConfirmed{Settings: settings})
	case here.Trial && action.Name == "report":
		t, err := s.reportedTrial(here, values, &d.odd)
		if err != nil {
			return err
		}
		return d.record(event.TrialEnded{Trial: t})
	}
	return nil
}

// leave takes the first branch that holds.
func (d *decision) leave(here *flow.State, action *flow.Action, values trial.Values) error {
	to, err := d.choose(action.Branches, values)
	if err != nil {
		return err
	}
	if to == "" {
		return fault.Newf(fault.Internal, "Report this flow.", "no branch of %s.%s holds", here.ID, action.Name)
	}
	if to == flow.Return {
		to = d.state.ReturnTo
		if to == "" {
			to = d.state.graph.Start
		}
	}
	if err := d.record(event.Moved{From: here.ID, To: to, Via: action.Name}); err != nil {
		return err
	}
	return d.arrive()
}

// arrive asks the planner where the new state wants it, and follows automatic
// branches.
func (d *decision) arrive() error {
	for range longestChain {
		s := d.state
		here := s.Here()
		if here.Plan != "" {
			if err := d.record(s.plan(here.Plan)); err != nil {
				return err
			}
		}
		to, err := d.choose(here.Auto, nil)
		if err != nil {
			return err
		}
		if to == "" {
			return d.intend()
		}
		if err := d.record(event.Moved{From: here.ID, To: to, Via: auto}); err != nil {
			return err
		}
	}
	return fault.Newf(fault.Internal, "Report this flow.", "the flow goes round without a question at %s", d.state.At)
}

func (d *decision) choose(branches []flow.Branch, values trial.Values) (string, error) {
	s := d.state
	facts := s.facts()
	for _, b := range branches {
		if b.When == nil {
			return b.To, nil
		}
		ok, err := b.When.Holds(values, facts, s.Plan)
		if err != nil {
			return "", fault.Newf(fault.Internal, "Report this flow.",
				"a condition in %s could not be decided: %s", s.At, b.When.Source).Because(err)
		}
		if ok {
			return b.To, nil
		}
	}
	return "", nil
}

// plan asks the planner for the next trial of a search.
func (s *State) plan(search string) event.Payload {
	proposal, ending := planner.Next(s.planInput(search))
	if ending != nil {
		return event.SearchEnded{Ending: *ending}
	}
	return event.TrialProposed{Proposal: *proposal}
}

func (s *State) planInput(search string) planner.Input {
	return planner.Input{
		Search: search, Stage: s.Here().Stage, Machine: s.Machine, Limits: s.graph.Platform.Limits.For(s.Machine),
		Settings: s.Settings, Endings: s.Endings, Trials: s.Trials, LoadLine: s.LoadLine, Levels: s.Levels,
		Skipped: s.Skipped, Wishes: s.wishes(), Priors: (*planner.Priors)(s.graph.Platform.Priors),
	}
}

// fork returns a copy that can be changed without changing s.
func (s *State) fork() *State {
	c := *s
	c.past = slices.Clip(s.past)
	c.history = slices.Clip(s.history)
	c.keys = map[string]int64{}
	c.machine = newMachine(s.graph)
	c.machine.set(s.At)
	return &c
}
