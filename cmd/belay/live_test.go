package main

import (
	"encoding/json"
	"net/http"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/config"
)

// TestAKilledTrialComesBackDated starts a trial with a real load over HTTP,
// kills the server in the middle, and finds the trial dated after the next
// start. The load ends with its server.
func TestAKilledTrialComesBackDated(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("processes cannot be killed by signal here")
	}
	folder := t.TempDir()
	server, base := child(t, folder)
	token, err := config.Token(folder, func(string) string { return "" })
	require.NoError(t, err)
	w := &traveller{t: t, base: base, token: token, visits: map[string]int{}}
	code, text, err := w.call(http.MethodPost, "/sessions", "", map[string]any{"flow": "desktop", "title": "Attic PC"})
	require.NoError(t, err)
	require.Equal(t, http.StatusCreated, code, string(text))
	var made struct{ ID string }
	require.NoError(t, json.Unmarshal(text, &made))
	w.id = made.ID
	w.toTrial()

	began := time.Now()
	code, text, err = w.call(http.MethodPost, "/sessions/"+w.id+"/trials", "", nil)
	require.NoError(t, err)
	require.Equal(t, http.StatusAccepted, code, string(text))
	var r struct {
		Elapsed float64 `json:"elapsed_s"`
		Errors  int
	}
	require.Eventually(t, func() bool {
		return w.get("/sessions/"+w.id+"/trials/running", &r) == nil && r.Elapsed > 2.5
	}, 2*time.Minute, 100*time.Millisecond)
	require.Zero(t, r.Errors)
	require.NoError(t, server.Process.Kill())
	_ = server.Wait()
	lasted := time.Since(began)

	server, w.base = child(t, folder)
	defer func() {
		_ = server.Process.Kill()
		_ = server.Wait()
	}()
	var p struct {
		Trial bool
		Found *struct {
			From, Says, Certainty string
			Evidence              []string
		}
		Fields []struct {
			Name    string
			Default any
		}
	}
	require.NoError(t, w.get("/sessions/"+w.id+"/prompt", &p))
	require.True(t, p.Trial)
	require.NotNil(t, p.Found)
	require.Equal(t, "crash", p.Found.From)
	if runtime.GOOS == "linux" {
		require.Contains(t, p.Found.Says, "Belay stopped about")
		require.Contains(t, p.Found.Evidence[0], "has not restarted")
	}
	dated := false
	for _, f := range p.Fields {
		if f.Name == "minutes_to_failure" {
			dated = true
			require.InDelta(t, lasted.Minutes()/2, f.Default, lasted.Minutes()/2+0.02, "between its start and the kill")
		}
	}
	require.True(t, dated)
	code, _, err = w.call(http.MethodGet, "/sessions/"+w.id+"/trials/running", "", nil)
	require.NoError(t, err)
	require.Equal(t, http.StatusNotFound, code)
}

// toTrial answers until a trial is due, about an invented PC.
func (w *traveller) toTrial() {
	w.t.Helper()
	for range longest {
		var p struct {
			prompt
			Trial bool
		}
		require.NoError(w.t, w.get("/sessions/"+w.id+"/prompt", &p))
		if p.Trial {
			return
		}
		answer := w.reply(p.prompt)
		values, _ := answer["values"].(map[string]any)
		for _, f := range p.Fields {
			if v, ok := described[f.Name]; ok && f.Required && values[f.Name] == nil {
				values[f.Name] = v
			}
		}
		code, text, err := w.call(http.MethodPost, "/sessions/"+w.id+"/answers", "", answer)
		require.NoError(w.t, err)
		require.Equal(w.t, http.StatusOK, code, "%s: %s", p.State, text)
	}
	require.Fail(w.t, "no trial came")
}
