package assist

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/session"
	"belay/internal/store/storetest"
	"belay/internal/trial"
	"belay/internal/wording"
)

// walkTo answers a practice session until it is at a state.
func walkTo(t *testing.T, a *Assist, state string) (string, session.Prompt) {
	t.Helper()
	ctx := context.Background()
	id, err := a.Start(ctx, StartRequest{Flow: "desktop", Title: "say", Practice: &event.Practice{Seed: 2, Variant: "own"}})
	require.NoError(t, err)
	visits := map[string]int{}
	for range 60 {
		p, err := a.Prompt(ctx, id)
		require.NoError(t, err)
		if p.State == state {
			return id, p
		}
		_, err = step(t, a, id, visits)
		require.NoError(t, err)
	}
	t.Fatalf("the walk did not reach %s", state)
	return "", session.Prompt{}
}

func TestSayDraftsAndSavesNothing(t *testing.T) {
	a := newTestAssist(storetest.NewMemory())
	ctx := context.Background()
	id, p := walkTo(t, a, "voltage-mode.enter")
	before, err := a.View(ctx, id)
	require.NoError(t, err)

	r, err := a.Say(ctx, id, "static, ratio 43, 1.2 v, llc level 4")
	require.NoError(t, err)
	require.Equal(t, "draft", r.Kind)
	require.Equal(t, p.ID, r.Draft.Prompt)
	require.Equal(t, trial.Values{"voltage_mode": "static", "ratio": 43.0, "set_voltage_v": 1.2, "load_line": "level 4"}, r.Draft.Values)
	require.Len(t, r.Draft.ReadBack, 4)
	require.Contains(t, strings.ReplaceAll(strings.Join(r.Draft.ReadBack, "\n"), wording.NBSP, " "), "Core voltage, as set: 1.200 V")

	r, err = a.Say(ctx, id, "ratio 43, voltage 1,200")
	require.NoError(t, err)
	require.Equal(t, "draft", r.Kind)
	require.Equal(t, trial.Values{"ratio": 43.0}, r.Draft.Values)
	require.Contains(t, r.Text, "“1,200” can be read in two ways")
	require.Equal(t, []string{"core ratio 43, core voltage 1.2 V"}, r.Choices)

	for _, text := range []string{"undo", "stop", "why", "hello", "1,2", "what is load line"} {
		_, err := a.Say(ctx, id, text)
		require.NoError(t, err)
	}
	after, err := a.View(ctx, id)
	require.NoError(t, err)
	require.Equal(t, before, after, "saying changes nothing")
}

// TestSayKnowsNoWayPastTheCeiling holds U21: a value past the hard limit is
// no draft, though the field's range would take it.
func TestSayKnowsNoWayPastTheCeiling(t *testing.T) {
	a := newTestAssist(storetest.NewMemory())
	id, _ := walkTo(t, a, "voltage-mode.enter")
	r, err := a.Say(context.Background(), id, "ratio 43 voltage 1.58")
	require.NoError(t, err)
	require.Equal(t, trial.Values{"ratio": 43.0}, r.Draft.Values)
	require.Len(t, r.Draft.ReadBack, 1)
	require.Contains(t, r.Text, "V")
	r, err = a.Say(context.Background(), id, "voltage 1.58")
	require.NoError(t, err)
	require.Nil(t, r.Draft)
	require.Equal(t, "ask", r.Kind)
}

func TestSayAnswersInEveryStep(t *testing.T) {
	a := newTestAssist(storetest.NewMemory())
	ctx := context.Background()
	id, err := a.Start(ctx, StartRequest{Flow: "desktop", Title: "say", Practice: &event.Practice{Seed: 2, Variant: "own"}})
	require.NoError(t, err)
	kinds := map[string]string{
		"where am i": "place", "how much longer": "place", "why": "help", "help": "help", "I can't find it": "help", "I don't know": "help",
		"is this safe": "help", "it won't turn on": "", "smoke": "help", "next": "help", "undo": "command", "stop": "command", "what is load line": "glossary", "zzz": "unknown",
	}
	visits := map[string]int{}
	for range 14 {
		for text, kind := range kinds {
			r, err := a.Say(ctx, id, text)
			require.NoError(t, err)
			require.NotEmpty(t, strings.TrimSpace(r.Text), text)
			require.LessOrEqual(t, len(r.Choices), 5, text)
			if kind != "" {
				require.Equal(t, kind, r.Kind, text)
			}
		}
		p, err := step(t, a, id, visits)
		require.NoError(t, err)
		if p.Finished {
			break
		}
	}
}
