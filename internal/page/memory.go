package page

import (
	"crypto/rand"
	"encoding/hex"
	"sync"
)

// remembered bounds a memory. Chosen: far more than a person leaves open.
const remembered = 128

// memory keeps the newest values by key until the program ends. It is safe
// for concurrent use. What it forgets is only convenience: nothing here is
// evidence.
type memory[T any] struct {
	mu    sync.Mutex
	byKey map[string]T
	order []string // oldest first
}

func newMemory[T any]() *memory[T] { return &memory[T]{byKey: map[string]T{}} }

// get returns the value under key, and whether there is one.
func (m *memory[T]) get(key string) (T, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	v, ok := m.byKey[key]
	return v, ok
}

// once returns the value under key, or makes it. Only one maker runs at a
// time, so that two posts of one form make one thing. A failure is not kept.
func (m *memory[T]) once(key string, produce func() (T, error)) (T, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if v, ok := m.byKey[key]; ok && key != "" {
		return v, nil
	}
	v, err := produce()
	if err != nil || key == "" {
		return v, err
	}
	m.byKey[key] = v
	m.order = append(m.order, key)
	if len(m.order) > remembered {
		delete(m.byKey, m.order[0])
		m.order = m.order[1:]
	}
	return v, nil
}

// put keeps v and returns its new key.
func (m *memory[T]) put(v T) string {
	key := newKey()
	_, _ = m.once(key, func() (T, error) { return v, nil })
	return key
}

// newKey returns 128 random bits as hex: the idempotency key of a form.
func newKey() string {
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails since Go 1.24
	return hex.EncodeToString(b[:])
}
