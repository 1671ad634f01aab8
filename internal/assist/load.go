package assist

import (
	"context"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/session"
)

// tries bounds how often a command is decided anew because another writer
// was first. Chosen: more writers than one session ever has at once.
const tries = 8

// loaded is a session with the events that made it.
type loaded struct {
	*session.State
	events []event.Envelope
}

func (a *Assist) load(ctx context.Context, id string) (loaded, error) {
	events, err := a.Log.Events(ctx, id)
	if err != nil {
		return loaded{}, fault.Wrap("assist.load", err)
	}
	g, err := a.graphOf(ctx, events)
	if err != nil {
		return loaded{}, err
	}
	s, err := session.Fold(g, events)
	return loaded{s, events}, err
}

// graphOf returns the flow that a session began with.
func (a *Assist) graphOf(ctx context.Context, events []event.Envelope) (*flow.Graph, error) {
	if len(events) == 0 {
		return nil, fault.New(fault.NotFound, "There is no such session.", "Open the list of sessions.")
	}
	first, err := event.Decode(events[0])
	if err != nil {
		return nil, err
	}
	started, ok := first.(event.SessionStarted)
	if !ok {
		return nil, fault.New(fault.Corrupt, "This session does not begin with its start.", "Restore a backup.")
	}
	a.mu.Lock()
	g := a.graphs[started.FlowHash]
	a.mu.Unlock()
	if g != nil {
		return g, nil
	}
	body, err := a.Log.Flow(ctx, started.FlowHash)
	if err != nil {
		return nil, fault.Wrap("assist.graphOf", err)
	}
	if g, err = flow.Unpack(body); err != nil {
		return nil, err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.graphs[started.FlowHash] = g
	return g, nil
}

// commit appends payloads behind s and tells listeners.
func (a *Assist) commit(ctx context.Context, s *session.State, payloads []event.Payload) error {
	if len(payloads) == 0 {
		return nil
	}
	events, err := event.Seal(s.ID, s.Version, s.Hash, a.Now(), payloads...)
	if err != nil {
		return err
	}
	// A request that is given up must not leave half a commit behind.
	if err := a.Log.Append(context.WithoutCancel(ctx), s.ID, s.Version, events); err != nil {
		return fault.Wrap("assist.commit", err)
	}
	a.Notify(s.ID, events[len(events)-1].Version)
	return nil
}

// change loads the session, decides and commits, and decides anew when
// another writer was first.
func (a *Assist) change(ctx context.Context, id string, decide func(loaded) ([]event.Payload, error)) error {
	var err error
	for range tries {
		var s loaded
		if s, err = a.load(ctx, id); err != nil {
			return err
		}
		var payloads []event.Payload
		if payloads, err = decide(s); err != nil {
			return err
		}
		if err = a.commit(ctx, s.State, payloads); !fault.Is(err, fault.Conflict) {
			return err
		}
	}
	return err
}

// result returns the session as it is now.
func (a *Assist) result(ctx context.Context, id string) (Result, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return Result{}, err
	}
	return Result{Version: s.Version, Prompt: a.prompt(ctx, s.State)}, nil
}

// replay returns what the command with this idempotency key led to, if it was
// carried out before.
func (a *Assist) replay(ctx context.Context, s loaded, key string) (Result, bool, error) {
	at, ok := s.KeyVersion(key)
	if !ok {
		return Result{}, false, nil
	}
	end := at // versions are 1-based: events[:at] ends with the command's own event
	for end < int64(len(s.events)) && session.Follows(s.events[end].Kind) {
		end++
	}
	then, err := session.Fold(s.Graph(), s.events[:end])
	if err != nil {
		return Result{}, false, err
	}
	return Result{Version: then.Version, Prompt: a.prompt(ctx, then)}, true, nil
}
