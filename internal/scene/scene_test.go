package scene

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/session"
)

func TestEveryStateCanBeReached(t *testing.T) {
	g, err := flow.Load(os.DirFS("../../flows"), "desktop")
	require.NoError(t, err)
	require.Greater(t, len(g.States), 150)
	for _, state := range g.States {
		payloads, err := Payloads(g, state.ID)
		require.NoError(t, err, state.ID)
		events, err := event.Seal("s", 0, "", time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC), payloads...)
		require.NoError(t, err)
		s, err := session.Fold(g, events)
		require.NoError(t, err, state.ID)
		require.Equal(t, state.ID, s.At)
		p := s.Prompt()
		require.NotEmpty(t, p.Title, state.ID)
		if state.Trial || state.Plan != "" {
			require.NotNil(t, p.Proposal, state.ID)
		}
	}
	_, err = Payloads(g, "core.nowhere")
	require.True(t, fault.Is(err, fault.NotFound))
}
