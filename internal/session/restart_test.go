package session

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
)

// intents are the recorded intents of a walk.
func (w *walker) intents() (out []event.RestartIntended) {
	for _, e := range w.events {
		p, err := event.Decode(e)
		require.NoError(w.t, err)
		if i, ok := p.(event.RestartIntended); ok {
			out = append(out, i)
		}
	}
	return out
}

func TestRestartIsIntendedFirst(t *testing.T) {
	w := begin(t)
	s := w.toCore()
	require.True(t, s.Here().Restarts, "at %s", s.At)
	require.True(t, s.Restarts())
	last := w.intents()[len(w.intents())-1]
	require.Equal(t, s.At, last.State)
	require.Equal(t, s.Settings, last.From)
	require.NotNil(t, last.To)
	require.Equal(t, s.Proposal.Settings, *last.To)
	require.NotEmpty(t, last.Expect)
	require.NotContains(t, last.Expect, "{{", "the words are filled in")

	before := len(w.intents())
	payloads, err := s.Undo("")
	require.NoError(t, err)
	w.append(payloads)
	back := w.state()
	require.Equal(t, back.Here().Restarts, back.Restarts(), "the step before has its own intent")
	require.Len(t, w.intents(), before)
}

func TestEveryRestartOfAWalkIsIntended(t *testing.T) {
	w := begin(t)
	w.toCore()
	for n := range w.events {
		s, err := Fold(w.g, w.events[:n+1])
		require.NoError(t, err)
		if n+1 < len(w.events) && Follows(w.events[n+1].Kind) {
			continue // in the middle of a save
		}
		require.Equal(t, s.Here().Restarts, s.Restarts(), "entry %d at %s", n+1, s.At)
	}
}

func TestPracticeIntendsNoRestart(t *testing.T) {
	w := begin(t)
	payloads, err := Begin(w.g, event.SessionStarted{Title: "t", Flow: "desktop", FlowHash: w.g.Hash, Practice: &event.Practice{Seed: 1, Variant: "own"}})
	require.NoError(t, err)
	w.events = nil
	w.append(payloads)
	w.toCore()
	require.Empty(t, w.intents(), "a simulated PC does not take this one down")
}
