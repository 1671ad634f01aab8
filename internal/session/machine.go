package session

import (
	"context"
	"errors"

	"github.com/looplab/fsm"

	"belay/internal/fault"
	"belay/internal/flow"
)

// auto is the event of a move that nobody answered for.
const auto = "auto"

// machine is the finite-state machine of one flow. It knows which moves the
// flow allows; which of them is taken is decided elsewhere.
type machine struct{ fsm *fsm.FSM }

// newMachine builds the machine of g, at its start. Events are named
// "action>target", so that no two moves share event and source.
func newMachine(g *flow.Graph) *machine {
	var all []string
	for _, s := range g.States {
		all = append(all, s.ID)
	}
	var events fsm.Events
	allow := func(from, via, to string) {
		targets := []string{to}
		if to == flow.Return {
			targets = all
		}
		for _, t := range targets {
			events = append(events, fsm.EventDesc{Name: via + ">" + t, Src: []string{from}, Dst: t})
		}
	}
	for _, s := range g.States {
		for _, b := range s.Auto {
			allow(s.ID, auto, b.To)
		}
		for _, a := range s.Actions {
			for _, b := range a.Branches {
				allow(s.ID, a.Name, b.To)
			}
		}
		if s.ID != g.StopState {
			allow(s.ID, "stop", g.StopState)
		}
	}
	return &machine{fsm: fsm.NewFSM(g.Start, events, nil)}
}

// fire makes one move. A move that the flow does not allow is a fault.
func (m *machine) fire(via, to string) error {
	err := m.fsm.Event(context.Background(), via+">"+to)
	var stay fsm.NoTransitionError
	if errors.As(err, &stay) {
		return nil // a state may lead to itself
	}
	if err != nil {
		return fault.Newf(fault.Internal, "Report this flow.",
			"the flow has no way from %s to %s by %s", m.fsm.Current(), to, via).Because(err)
	}
	return nil
}

// set puts the machine into a state that it was in before.
func (m *machine) set(state string) { m.fsm.SetState(state) }
