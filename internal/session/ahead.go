package session

import (
	"slices"
	"strings"

	"belay/internal/flow"
	"belay/internal/safety"
	"belay/internal/trial"
)

// Ahead is a step that may come before the guide can be asked again.
type Ahead struct {
	Outcome trial.Outcome // what leads there, or "" for the way that is planned
	Prompt  Prompt
}

// whileDown are the outcomes after which nobody can ask the guide, in the
// order in which they are told.
var whileDown = []trial.Outcome{trial.NoBoot, trial.Froze, trial.Reset}

// Next returns the step that follows when the present one goes as planned, as
// if its settings were entered, or nil at an end or where the answer decides.
func (s *State) Next() *Prompt {
	if next := s.following(); next != nil {
		return next.Prompt()
	}
	return nil
}

// following is the state of Next.
func (s *State) following() *State {
	here := s.Here()
	for _, a := range here.Actions {
		if len(a.Branches) == 0 || strings.HasPrefix(a.Name, "skip") {
			continue
		}
		if here.Trial { // the outcome decides
			return nil
		}
		to, err := (&decision{state: s}).choose(a.Branches, nil)
		if err != nil || s.graph.State(to) == nil {
			return nil
		}
		return s.as(to)
	}
	return nil
}

// as returns the session as it would be at a state, with the proposed
// settings entered if the present step enters them.
func (s *State) as(id string) *State {
	t := *s
	t.At = id
	if s.Here().Confirms && s.Proposal != nil {
		t.Settings = s.Proposal.Settings
	}
	if t.Here().Plan != "" { // its proposal is not made yet
		t.Proposal = nil
	}
	return &t
}

// Ahead returns the steps for each way in which the PC may not come up, as
// the flow has them for the present step or the one that follows it.
func (s *State) Ahead() []Ahead {
	from := s
	if next := s.following(); next != nil && !s.Here().Trial {
		from = next
	}
	out := []Ahead{}
	for _, a := range from.Here().Actions {
		for _, b := range a.Branches {
			to := s.graph.State(b.To)
			if to == nil || !slices.Contains(whileDown, to.Failure) || slices.ContainsFunc(out, func(x Ahead) bool { return x.Prompt.State == to.ID }) {
				continue
			}
			out = append(out, Ahead{Outcome: to.Failure, Prompt: *from.as(to.ID).Prompt()})
		}
	}
	slices.SortStableFunc(out, func(a, b Ahead) int {
		return slices.Index(whileDown, a.Outcome) - slices.Index(whileDown, b.Outcome)
	})
	return out
}

// WayBack returns the step that brings a PC back which does not start: one that
// clears the firmware settings, of the present stage where it has one; nil if
// the flow has none.
func (s *State) WayBack() *Prompt {
	var found *flow.State
	best := 0
	for _, st := range s.graph.States {
		if st.Failure != trial.NoBoot {
			continue
		}
		fits := 1
		if st.Stage == s.Here().Stage {
			fits++
		}
		if slices.Contains(st.Touches, safety.ClearSettings) {
			fits += 2
		}
		if fits > best {
			found, best = st, fits
		}
	}
	if found == nil {
		return nil
	}
	return s.as(found.ID).Prompt()
}
