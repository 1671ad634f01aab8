// Package session folds a session's events into its state and decides which
// events a command yields.
//
// It is pure: the same events give the same state, and the same command on
// the same state gives the same events. Time, ids and readings enter as data.
package session

import (
	"maps"
	"slices"
	"strconv"
	"time"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/planner"
	"belay/internal/trial"
)

// State is a session at one version. It is a value: Fold makes a new one.
type State struct {
	ID       string
	Version  int64
	Hash     string // of the newest event
	Title    string
	Started  time.Time
	Updated  time.Time
	Flow     string
	FlowHash string
	Practice *event.Practice

	Detected event.MachineRead              // what was read of the PC
	Attached map[int]event.ReadingsAttached // readings taken over time, by trial

	progress // what an undo takes back

	graph   *flow.Graph
	machine *machine
	past    []checkpoint
	history []Entry
	keys    map[string]int64 // idempotency key: version of the event that carries it
}

// progress is the part of the state that undo restores. Its maps and slices
// are replaced, never changed, so that a checkpoint is a plain copy.
type progress struct {
	At       string // id of the present state of the flow
	ReturnTo string // where "stop" was said
	Since    int64  // version at which the present prompt appeared

	Values   trial.Values   // newest answer to each field
	Machine  trial.Machine  // what is known of the PC
	Settings trial.Settings // what the person last confirmed to be in the firmware
	Proposal *trial.Proposal
	Plan     flow.Plan // of the present state's search
	Endings  map[string]trial.Ending
	Trials   []trial.Trial
	Running  *event.TrialStarted
	Intended bool              // what the restart of this step is for has been recorded
	Found    *event.TrialFound // about the running trial
	LoadLine []trial.Row       // readings of set and load voltage and power, of the present load-line level
	Levels   int               // load-line levels measured
	Skipped  map[string]bool
}

type checkpoint struct {
	version int64 // of the answer
	before  progress
	entries int // length of the history before it
}

// PromptID names the present prompt. An answer to any other is stale.
func (s *State) PromptID() string { return "p" + strconv.FormatInt(s.Since, 10) }

// Here returns the present state of the flow.
func (s *State) Here() *flow.State { return s.graph.State(s.At) }

// Graph returns the flow that the session runs.
func (s *State) Graph() *flow.Graph { return s.graph }

// Finished reports whether the session has reached its sheet.
func (s *State) Finished() bool {
	here := s.Here()
	return here.End && here.Stage == s.graph.Stages[len(s.graph.Stages)-1].ID
}

// CanUndo reports whether an answer is left to take back.
func (s *State) CanUndo() bool { return len(s.past) > 0 }

// History returns the conversation so far.
func (s *State) History() []Entry { return s.history }

// Keep returns the settings that the newest ended search keeps, or nil.
func (s *State) Keep() *trial.Ending {
	for _, name := range slices.Backward(planner.Order) {
		if e, ok := s.Endings[name]; ok && !e.Blocked {
			return &e
		}
	}
	return nil
}

// Fold makes the state from a session's events, oldest first, under the flow
// that it began with. A log that the flow does not allow gives a Corrupt
// fault.
func Fold(g *flow.Graph, events []event.Envelope) (*State, error) {
	s := &State{graph: g, keys: map[string]int64{}, machine: newMachine(g)}
	s.Endings = map[string]trial.Ending{}
	s.Skipped = map[string]bool{}
	for _, e := range events {
		p, err := event.Decode(e)
		if err != nil {
			return nil, err
		}
		s.ID, s.Version, s.Hash, s.Updated = e.Session, e.Version, e.Hash, e.Time
		if err := s.apply(p); err != nil {
			return nil, fault.Newf(fault.Corrupt,
				"Export the session, or restore a backup.",
				"Entry %d does not fit the entries before it.", e.Version).Because(err)
		}
	}
	return s, nil
}

// apply takes one payload into the state, as of s.Version and s.Updated.
func (s *State) apply(p event.Payload) error {
	switch p := p.(type) {
	case event.SessionStarted:
		return s.start(p)
	case event.SessionRenamed:
		s.Title = p.Title
	case event.Answered:
		return s.answered(p)
	case event.AnswerTakenBack:
		return s.takenBack(p)
	case event.Moved:
		return s.moved(p)
	case event.TrialProposed:
		s.Proposal = &p.Proposal
		s.Plan = flow.Plan{Proposed: true}
	case event.SearchEnded:
		s.Proposal = nil
		s.Plan = flow.Plan{Done: !p.Blocked, Blocked: p.Blocked}
		s.Endings = maps.Clone(s.Endings)
		s.Endings[p.Search] = p.Ending
	case event.SettingsConfirmed:
		s.Settings = p.Settings
	case event.RestartIntended:
		s.Intended = true
	case event.MachineRead:
		s.Detected = p
	case event.ReadingsAttached:
		s.attached(p)
	case event.TrialStarted:
		s.Running, s.Found = &p, nil
	case event.TrialFound:
		s.Found = &p
		s.tell("pc", "Trial "+strconv.Itoa(p.N), append([]string{p.Says}, p.Evidence...))
	case event.TrialEnded:
		s.Running, s.Found = nil, nil
		s.Trials = append(slices.Clip(s.Trials), p.Trial)
		s.tell("pc", "Trial "+strconv.Itoa(p.Trial.N), trialLines(p.Trial))
	}
	return nil
}

func (s *State) start(p event.SessionStarted) error {
	s.Title, s.Flow, s.FlowHash, s.Practice = p.Title, p.Flow, p.FlowHash, p.Practice
	s.Started = s.Updated
	s.At, s.Since = s.graph.Start, s.Version
	s.machine.set(s.At)
	s.tellState()
	return nil
}

func (s *State) answered(p event.Answered) error {
	here := s.Here()
	if p.State != here.ID {
		return fault.Newf(fault.Internal, "", "an answer to %s in state %s", p.State, here.ID)
	}
	s.past = append(s.past, checkpoint{version: s.Version, before: s.progress, entries: len(s.history)})
	if p.Key != "" {
		s.keys[p.Key] = s.Version
	}
	from := "you"
	if p.By == "practice" {
		from = "pc"
	}
	s.tell(from, actionLabel(here, p.Action), s.answerLines(here, p))
	s.Values = maps.Clone(s.Values)
	if s.Values == nil {
		s.Values = trial.Values{}
	}
	maps.Copy(s.Values, p.Values)
	if err := overlay(&s.Machine, p.Values); err != nil {
		return err
	}
	if rows := p.Values.Rows("readings"); len(rows) > 0 {
		s.LoadLine = rows
		s.Levels++
	}
	if p.Action == "skip" {
		s.Skipped = maps.Clone(s.Skipped)
		s.Skipped[here.Stage] = true
	}
	if p.Action == "stop" && here.ID != s.graph.StopState {
		s.ReturnTo = here.ID
	}
	return nil
}

func (s *State) takenBack(p event.AnswerTakenBack) error {
	last := len(s.past) - 1
	if last < 0 || s.past[last].version != p.Version {
		return fault.Newf(fault.Internal, "", "the answer %d cannot be taken back", p.Version)
	}
	cut := s.past[last]
	s.progress = cut.before
	s.Since = s.Version
	s.attachAgain()
	s.past = s.past[:last]
	s.machine.set(s.At)
	s.history = slices.Clone(s.history)
	for i := cut.entries; i < len(s.history); i++ {
		s.history[i].Superseded = true
	}
	if p.Key != "" {
		s.keys[p.Key] = s.Version
	}
	s.tell("you", "Undo", []string{"The answer before this is taken back."})
	s.tellState()
	return nil
}

func (s *State) moved(p event.Moved) error {
	if p.From != s.At {
		return fault.Newf(fault.Internal, "", "a move from %s in state %s", p.From, s.At)
	}
	if err := s.machine.fire(p.Via, p.To); err != nil {
		return err
	}
	s.At, s.Since, s.Intended = p.To, s.Version, false
	s.Plan = flow.Plan{}
	if s.Here().Plan != "" {
		s.Proposal = nil
	}
	s.tellState()
	return nil
}

// KeyVersion returns the version of the command that carried this idempotency
// key.
func (s *State) KeyVersion(key string) (int64, bool) {
	if key == "" {
		return 0, false
	}
	v, ok := s.keys[key]
	return v, ok
}

// Follows reports whether events of this kind are written as consequences of
// the command before them.
func Follows(k event.Kind) bool {
	switch k {
	case event.Moved{}.Kind(), event.TrialProposed{}.Kind(), event.SearchEnded{}.Kind(),
		event.SettingsConfirmed{}.Kind(), event.TrialEnded{}.Kind(), event.RestartIntended{}.Kind():
		return true
	}
	return false
}

// ParseForm reads a form for the present prompt, as a person typed it.
func (s *State) ParseForm(action string, form map[string][]string) (trial.Values, []fault.Field) {
	a, err := s.action(action)
	if err != nil {
		return nil, nil // Decide names the unknown action
	}
	values, wrong := s.graph.ParseValues(s.Here(), form)
	if len(a.Needs) == 0 {
		wrong = nil // this action asks for nothing, so a half-filled form does not matter
	}
	return values, wrong
}

// Overshoots reports whether the newest load-line readings show a load
// voltage above the set voltage.
func (s *State) Overshoots() bool { return s.facts().Overshoot }
