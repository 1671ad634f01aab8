package assist

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/store/storetest"
	"belay/internal/trial"
)

// firstRestart answers a session about a real PC up to its first restart.
func firstRestart(t *testing.T, a *Assist) string {
	t.Helper()
	ctx := context.Background()
	id, err := a.Start(ctx, StartRequest{Flow: "desktop"})
	require.NoError(t, err)
	for range 30 {
		p, err := a.Prompt(ctx, id)
		require.NoError(t, err)
		if p.Restarts {
			return id
		}
		require.Nil(t, p.Restart, "at %s", p.State)
		values := trial.Values{}
		for _, f := range p.Fields {
			switch v, known := choices[f.Name]; {
			case known:
				values[f.Name] = v
			case f.Kind == "number" && f.Required:
				values[f.Name] = number(f.Example, *f.Min)
			case f.Kind == "choice" && f.Required:
				values[f.Name] = f.Choices[0].Value
			case f.Kind == "yesno" && f.Required:
				values[f.Name] = true
			case f.Kind == "text" && f.Required:
				values[f.Name] = "x"
			}
		}
		_, err = a.Answer(ctx, id, AnswerRequest{Prompt: p.ID, Action: p.Actions[0].Name, Values: values})
		require.NoError(t, err, "at %s: %v", p.State, values)
	}
	t.Fatal("no restart in thirty steps")
	return ""
}

func number(example string, least float64) any {
	v, ok := trial.Values{"x": example}.Number("x")
	if ok {
		return v
	}
	return least
}

// TestSafeToRestartComesLast checks that a prompt says so only after the intent
// is in the log and everything was secured after it.
func TestSafeToRestartComesLast(t *testing.T) {
	log := storetest.NewMemory()
	a := newTestAssist(log)
	var secured []event.Kind // the newest kind of event at each time
	broken := false
	a.Secure = func(ctx context.Context) error {
		heads, err := log.Heads(ctx)
		require.NoError(t, err)
		events, err := log.Events(ctx, heads[0].Session)
		require.NoError(t, err)
		secured = append(secured, events[len(events)-1].Kind)
		if broken {
			return fault.New(fault.Unavailable, "The disk is full.", "Free some space.")
		}
		return nil
	}
	id := firstRestart(t, a)
	require.NotEmpty(t, secured)
	for _, kind := range secured {
		require.Equal(t, event.RestartIntended{}.Kind(), kind)
	}
	p, err := a.Prompt(context.Background(), id)
	require.NoError(t, err)
	require.True(t, p.Restart.Safe)
	broken = true
	p, err = a.Prompt(context.Background(), id)
	require.NoError(t, err)
	require.False(t, p.Restart.Safe)
	require.Equal(t, "The disk is full. Free some space.", p.Restart.Why)
	a.Secure = nil
	p, err = a.Prompt(context.Background(), id)
	require.NoError(t, err)
	require.Nil(t, p.Restart)
}
