// Package storetest is for tests only: the rules that every log of events
// keeps, as a suite, and a log in memory that keeps them too.
package storetest

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"sync"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/store"
)

// Memory is a log in memory. It may be used from many goroutines.
type Memory struct {
	mu       sync.Mutex
	sessions map[string]*record
	flows    map[string][]byte
	touched  int
}

type record struct {
	events  []event.Envelope
	touched int // order of the last write
}

// NewMemory makes an empty log.
func NewMemory() *Memory {
	return &Memory{sessions: map[string]*record{}, flows: map[string][]byte{}}
}

// Append is store.Log's Append.
func (m *Memory) Append(_ context.Context, session string, expected int64, events []event.Envelope) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(events) == 0 {
		return nil
	}
	if session == "" || len(session) > 64 {
		return fault.New(fault.Invalid, "No such name.", "Use another name.")
	}
	var have []event.Envelope
	if r := m.sessions[session]; r != nil {
		have = r.events
	}
	if int64(len(have)) != expected || events[0].Prev != hashAt(have) {
		return fault.New(fault.Conflict, "The session has moved on.", "Load it again.")
	}
	all := slices.Concat(have, events)
	for _, e := range all {
		if e.Session != session {
			return fault.New(fault.Corrupt, "An entry of another session.", "Try again.")
		}
	}
	if err := event.Verify(all); err != nil {
		return err
	}
	m.put(session, all)
	return nil
}

func hashAt(events []event.Envelope) string {
	if len(events) == 0 {
		return ""
	}
	return events[len(events)-1].Hash
}

func (m *Memory) put(session string, events []event.Envelope) {
	m.touched++
	m.sessions[session] = &record{events: events, touched: m.touched}
}

// Events is store.Log's Events.
func (m *Memory) Events(ctx context.Context, session string) ([]event.Envelope, error) {
	return m.EventsAfter(ctx, session, 0)
}

// EventsAfter is store.Log's EventsAfter.
func (m *Memory) EventsAfter(_ context.Context, session string, version int64) ([]event.Envelope, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	r := m.sessions[session]
	switch {
	case version < 0:
		return nil, fault.New(fault.Invalid, "A negative place.", "Start at 0.")
	case r == nil:
		return nil, fault.New(fault.NotFound, "No such session.", "Choose another.")
	case version > int64(len(r.events)):
		return nil, fault.New(fault.Conflict, "A place behind the end.", "Load it again.")
	}
	return slices.Clone(r.events[version:]), nil
}

// Heads is store.Log's Heads.
func (m *Memory) Heads(context.Context) ([]event.Head, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var heads []event.Head
	for session, r := range m.sessions {
		first, last := r.events[0], r.events[len(r.events)-1]
		heads = append(heads, event.Head{
			Session: session, Version: last.Version, Hash: last.Hash, Started: first.Time, Updated: last.Time,
		})
	}
	slices.SortFunc(heads, func(a, b event.Head) int {
		return cmp.Compare(m.sessions[b.Session].touched, m.sessions[a.Session].touched)
	})
	return heads, nil
}

// Delete is store.Log's Delete.
func (m *Memory) Delete(_ context.Context, session string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.sessions[session] == nil {
		return fault.New(fault.NotFound, "No such session.", "Choose another.")
	}
	delete(m.sessions, session)
	return nil
}

// PutFlow is store.Log's PutFlow.
func (m *Memory) PutFlow(_ context.Context, hash string, body []byte) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	sum := sha256.Sum256(body)
	if hex.EncodeToString(sum[:]) != hash {
		return fault.New(fault.Corrupt, "Another hash.", "Try again.")
	}
	m.flows[hash] = bytes.Clone(body)
	return nil
}

// Flow is store.Log's Flow.
func (m *Memory) Flow(_ context.Context, hash string) ([]byte, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	body, ok := m.flows[hash]
	if !ok {
		return nil, fault.New(fault.NotFound, "No such flow.", "Choose another.")
	}
	return bytes.Clone(body), nil
}

// Import is store.Log's Import.
func (m *Memory) Import(_ context.Context, data []byte) (string, error) {
	events, flow, err := store.Parse(data)
	if err != nil {
		return "", err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	session := events[0].Session
	if m.sessions[session] != nil {
		return "", fault.New(fault.Conflict, "This session is already there.", "Delete it first.")
	}
	sum := sha256.Sum256(flow)
	m.flows[hex.EncodeToString(sum[:])] = flow
	m.put(session, events)
	return session, nil
}
