package scene

import (
	"context"
	"io/fs"
	"strings"
	"time"

	"belay/internal/event"
	"belay/internal/flow"
)

// Log is where the sessions of a gallery are put.
type Log interface {
	PutFlow(ctx context.Context, hash string, body []byte) error
	Append(ctx context.Context, session string, expected int64, events []event.Envelope) error
}

// Fill puts a session in every state of the flow into log and returns the
// states, in the order of the file.
func Fill(ctx context.Context, log Log, offer fs.FS, name string) ([]*flow.State, error) {
	g, err := flow.Load(offer, name)
	if err != nil {
		return nil, err
	}
	packed, err := flow.Pack(offer, name)
	if err != nil {
		return nil, err
	}
	if err := log.PutFlow(ctx, g.Hash, packed); err != nil {
		return nil, err
	}
	for _, s := range g.States {
		payloads, err := Payloads(g, s.ID)
		if err != nil {
			return nil, err
		}
		events, err := event.Seal(Session(s.ID), 0, "", time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC), payloads...)
		if err != nil {
			return nil, err
		}
		if err := log.Append(ctx, Session(s.ID), 0, events); err != nil {
			return nil, err
		}
	}
	return g.States, nil
}

// Session is the id of the session that rests in a state.
func Session(state string) string { return strings.NewReplacer(".", "-", "_", "-").Replace(state) }
