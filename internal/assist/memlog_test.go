package assist

import (
	"context"
	"sync"

	"belay/internal/event"
	"belay/internal/fault"
)

// memLog is a Log in memory.
type memLog struct {
	mu     sync.Mutex
	events map[string][]event.Envelope
	flows  map[string][]byte
}

func newMemLog() *memLog {
	return &memLog{events: map[string][]event.Envelope{}, flows: map[string][]byte{}}
}

func (l *memLog) Append(_ context.Context, s string, expected int64, e []event.Envelope) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if int64(len(l.events[s])) != expected {
		return fault.New(fault.Conflict, "another writer was first", "load again")
	}
	l.events[s] = append(l.events[s], e...)
	return nil
}

func (l *memLog) Events(_ context.Context, s string) ([]event.Envelope, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.events[s]) == 0 {
		return nil, fault.New(fault.NotFound, "no such session", "list them")
	}
	out := append([]event.Envelope(nil), l.events[s]...)
	return out, event.Verify(out)
}

func (l *memLog) Heads(context.Context) ([]event.Head, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	var out []event.Head
	for id, e := range l.events {
		out = append(out, event.Head{Session: id, Version: int64(len(e)), Updated: e[len(e)-1].Time})
	}
	return out, nil
}

func (l *memLog) Delete(_ context.Context, s string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.events, s)
	return nil
}

func (l *memLog) Import(context.Context, []byte) (string, error) {
	return "", fault.New(fault.Unavailable, "not in memory", "use a file")
}

func (l *memLog) PutFlow(_ context.Context, hash string, body []byte) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.flows[hash] = body
	return nil
}

func (l *memLog) Flow(_ context.Context, hash string) ([]byte, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.flows[hash], nil
}
