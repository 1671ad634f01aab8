package assist

import (
	"context"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/session"
	"belay/internal/store/storetest"
	"belay/internal/trial"
	"belay/internal/virtualrig"
)

// newTestAssist runs the use cases over a log in memory and the flows that
// come with Belay.
func newTestAssist(log Log) *Assist {
	n := 0
	return New(Config{
		Log: log, Offer: os.DirFS("../../flows"),
		Rig: func(seed uint64, variant string) (PracticeRig, error) {
			return virtualrig.New(seed, virtualrig.Variant(variant))
		},
		Export: func([]event.Envelope, []byte) ([]byte, error) { return []byte("{}"), nil },
		Notify: func(string, int64) {},
		Now:    func() time.Time { return time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC) },
		NewID:  func() string { n++; return fmt.Sprintf("s%d", n) },
	})
}

// choices are what the walker answers where the simulated PC cannot.
var choices = map[string]any{
	"backup": "done", "clear_known": true, "photo_taken": true, "cooler": "air", "target": "normal",
	"steps_back": "1", "daily_mode": "adaptive",
}

// step answers the present prompt as a willing person would.
func step(t *testing.T, a *Assist, id string, visits map[string]int) (session.Prompt, error) {
	t.Helper()
	ctx := context.Background()
	p, err := a.Prompt(ctx, id)
	require.NoError(t, err)
	for _, action := range p.Actions {
		if action.Name == "simulate" {
			_, err = a.Simulate(ctx, id, p.ID, p.ID)
			return p, err
		}
	}
	values := trial.Values{}
	for _, f := range p.Fields {
		if v, ok := choices[f.Name]; ok && f.Required {
			values[f.Name] = v
		} else if f.Default != nil {
			values[f.Name] = f.Default
		}
	}
	// Who comes to the same crossroads for the third time takes the other way.
	visits[p.State]++
	action := p.Actions[0]
	if visits[p.State] > 2 && len(p.Actions) > 2 {
		action = p.Actions[1]
	}
	_, err = a.Answer(ctx, id, AnswerRequest{Prompt: p.ID, Action: action.Name, Values: values})
	return p, err
}

func TestPracticeSessionsReachTheSheet(t *testing.T) {
	ends := map[string]int{}
	failures := map[trial.Outcome]int{}
	for seed := uint64(1); seed <= 3; seed++ {
		log := storetest.NewMemory()
		a := newTestAssist(log)
		id, err := a.Start(context.Background(), StartRequest{Flow: "desktop", Title: "walk", Practice: &event.Practice{Seed: seed, Variant: "own"}})
		require.NoError(t, err)
		var trail []string
		visits := map[string]int{}
		for n := 0; ; n++ {
			require.Less(t, n, 300, "seed %d goes round: %s", seed, strings.Join(trail[max(0, len(trail)-40):], " "))
			v, err := a.View(context.Background(), id)
			require.NoError(t, err)
			if v.Finished || v.State == "baseline.unstable" || v.State == "stopped" {
				ends[v.State]++
				trials, _ := a.Trials(context.Background(), id)
				crashes := 0
				minutes := 0.0
				for _, x := range trials {
					failures[x.Outcome]++
					if x.Outcome.Crash() {
						crashes++
					}
					minutes += float64(x.Minutes)
				}
				fmt.Printf("seed %d: %s after %d steps, %d trials, %d crashes, %.1f h under load; keep %+v\n", seed, v.State, n, len(trials), crashes, minutes/60, *orEmptyKeep(v.Keep))
				break
			}
			p, err := step(t, a, id, visits)
			require.NoError(t, err, "seed %d at %s: %s", seed, v.State, strings.Join(trail[max(0, len(trail)-20):], " "))
			trail = append(trail, p.State)
			if strings.HasSuffix(p.State, ".blocked") {
				fmt.Println(seed, p.State, p.Messages[0].Text)
			}
		}
	}
	t.Log(ends, failures)
}

func orEmptyKeep(k *trial.Settings) *trial.Settings {
	if k == nil {
		return &trial.Settings{}
	}
	return k
}
