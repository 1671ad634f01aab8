package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net/http"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/virtualrig"
)

// prompt is what a program reads of a prompt. It knows only names.
type prompt struct {
	ID       string
	State    string
	Finished bool
	Fields   []struct {
		Name     string
		Kind     string
		Required bool
		Default  any
		Choices  []struct{ Value string }
	}
	Actions []struct {
		Name  string
		Needs []string
	}
}

// traveller walks a session over HTTP. It knows the fixed field names and
// nothing of the flow.
type traveller struct {
	t           *testing.T
	base, token string
	id          string
	visits      map[string]int
}

// call sends one request and returns the status and the body; a server that
// is gone gives an error.
func (w *traveller) call(method, path, key string, body any) (int, []byte, error) {
	var text []byte
	if body != nil {
		var err error
		text, err = json.Marshal(body)
		require.NoError(w.t, err)
	}
	q, err := http.NewRequestWithContext(w.t.Context(), method, w.base+"/api/v1"+path, bytes.NewReader(text))
	require.NoError(w.t, err)
	q.Header.Set("Content-Type", "application/json")
	q.Header.Set("Authorization", "Bearer "+w.token)
	if key != "" {
		q.Header.Set("Idempotency-Key", key)
	}
	reply, err := http.DefaultClient.Do(q)
	if err != nil {
		return 0, nil, err
	}
	defer reply.Body.Close()
	text, err = io.ReadAll(reply.Body)
	return reply.StatusCode, text, err
}

func (w *traveller) get(path string, into any) error {
	code, text, err := w.call(http.MethodGet, path, "", nil)
	if err != nil {
		return err
	}
	require.Equal(w.t, http.StatusOK, code, string(text))
	return json.Unmarshal(text, into)
}

// wishes are the person's own answers, which no PC can give.
var wishes = map[string]any{
	"backup": "done", "clear_known": true, "photo_taken": true, "cooler": "air", "target": "normal", "steps_back": "1", "daily_mode": "adaptive",
}

// reply is the answer to a prompt: the simulated PC's where it can, else the
// defaults and wishes with the first action, and another one after some visits
// to the same crossroads. Who comes by for the thirtieth time stops.
func (w *traveller) reply(p prompt) map[string]any {
	action := p.Actions[0].Name
	for _, a := range p.Actions {
		if a.Name == "simulate" {
			return map[string]any{"prompt": p.ID, "action": "simulate"}
		}
	}
	w.visits[p.State]++
	if n := w.visits[p.State]; len(p.Actions) > 1 && (n > 2 && p.Actions[1].Name != "stop" || n > 30) {
		action = p.Actions[1].Name
	}
	values := map[string]any{}
	for _, f := range p.Fields {
		if v, ok := wishes[f.Name]; ok && f.Required {
			values[f.Name] = v
		} else if f.Default != nil {
			values[f.Name] = f.Default
		}
	}
	return map[string]any{"prompt": p.ID, "action": action, "values": values}
}

// begin starts a practice session.
func (w *traveller) begin(seed uint64) {
	code, text, err := w.call(http.MethodPost, "/sessions", "", map[string]any{
		"flow": "desktop", "title": fmt.Sprintf("Seed %d", seed), "practice": map[string]any{"seed": seed, "variant": "own"},
	})
	require.NoError(w.t, err)
	require.Equal(w.t, http.StatusCreated, code, string(text))
	var v struct{ ID string }
	require.NoError(w.t, json.Unmarshal(text, &v))
	w.id, w.visits = v.ID, map[string]int{}
}

// longest bounds a journey, in answers. Chosen: twice the longest seen.
const longest = 400

// finish walks to where the guide may rest, and returns that state and the
// states on the way.
func (w *traveller) finish() (string, map[string]int) {
	seen := map[string]int{}
	for range longest {
		var p prompt
		require.NoError(w.t, w.get("/sessions/"+w.id+"/prompt", &p))
		seen[p.State]++
		if p.Finished || p.State == "stopped" || p.State == "baseline.unstable" {
			return p.State, seen
		}
		code, text, err := w.call(http.MethodPost, "/sessions/"+w.id+"/answers", "", w.reply(p))
		require.NoError(w.t, err)
		require.Equal(w.t, http.StatusOK, code, "%s: %s", p.State, text)
	}
	require.Fail(w.t, "the journey does not end", "%v", seen)
	return "", nil
}

// TestJourneys walks twenty simulated PCs, one with each rare trait among
// them, by field names alone to the sheet.
func TestJourneys(t *testing.T) {
	r := start(t, t.TempDir())
	w := &traveller{t: t, base: r.base, token: r.token}
	seeds := map[uint64]string{}
	for _, trait := range virtualrig.AllTraits() {
		seed, ok := virtualrig.SeedWith(trait, virtualrig.Own, 100)
		for ok && seeds[seed] != "" {
			seed, ok = virtualrig.SeedWith(trait, virtualrig.Own, seed+1)
		}
		require.True(t, ok, trait)
		seeds[seed] = trait
	}
	for seed := uint64(1); len(seeds) < 20; seed++ {
		seeds[seed] = "any"
	}
	outcomes, ends := map[string]int{}, map[string]int{}
	for _, seed := range slices.Sorted(maps.Keys(seeds)) {
		trait := seeds[seed]
		w.begin(seed)
		end, _ := w.finish()
		ends[end]++
		var trials []struct{ Outcome string }
		require.NoError(t, w.get("/sessions/"+w.id+"/trials", &trials))
		for _, x := range trials {
			outcomes[x.Outcome]++
		}
		rig, err := virtualrig.New(seed, virtualrig.Own)
		require.NoError(t, err)
		// A broken PC may pass its baseline by luck; a sound one has to arrive.
		broken := slices.Contains(rig.Traits(), virtualrig.TraitUnstable) || slices.Contains(rig.Traits(), virtualrig.TraitThrottles)
		if !broken {
			require.Equal(t, "sheet.ready", end, "seed %d, %s", seed, trait)
		}
		if end == "sheet.ready" {
			w.sheets()
		}
		t.Logf("seed %d (%s): %s after %d trials", seed, trait, end, len(trials))
	}
	t.Log(ends, outcomes)
	require.NotZero(t, ends["stopped"]+ends["baseline.unstable"], "no broken PC was sent to repair: %v", ends)
	for _, o := range []string{"clean", "error", "froze", "reset", "no_boot", "throttled"} {
		require.NotZero(t, outcomes[o], "no journey met %s: %v", o, outcomes)
	}
}

// sheets asks for the finished sheet in every format.
func (w *traveller) sheets() {
	for _, format := range []string{"html", "md", "json", "csv"} {
		code, text, err := w.call(http.MethodGet, "/sessions/"+w.id+"/sheet?format="+format, "", nil)
		require.NoError(w.t, err)
		require.Equal(w.t, http.StatusOK, code)
		require.Contains(w.t, string(text), "simulated PC", format)
		if format == "json" {
			var s map[string]json.RawMessage
			require.NoError(w.t, json.Unmarshal(text, &s))
			for _, key := range []string{"settings", "proof", "conditions", "gains", "back_to_stock", "recheck", "cautions", "stock"} {
				require.Contains(w.t, s, key)
			}
		}
	}
}
