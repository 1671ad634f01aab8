package main

import (
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/assist"
	"belay/internal/bootlog"
	"belay/internal/trial"
)

// hostAt opens the host as in a boot of that name.
func hostAt(t *testing.T, path, boot string, started time.Time) *host {
	t.Helper()
	h, err := openHost(path, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	h.boot = bootlog.Boot{ID: boot, Started: started}
	return h
}

// A trial beats, the PC goes down, and the next boot dates it.
func TestTheHostDatesACrash(t *testing.T) {
	path := filepath.Join(t.TempDir(), "heartbeat")
	before := hostAt(t, path, "one", time.Now().Add(-time.Hour))
	require.NoError(t, before.ring.LearnRestart(45*time.Second))
	began := time.Now()
	end := before.pulse("s1", 4, func() trial.Readings { return trial.Readings{CoreTemp: 83} })
	require.Eventually(t, func() bool {
		probe := hostAt(t, path, "probe", time.Now())
		defer probe.ring.Close()
		return len(probe.ring.Found()) > 1
	}, time.Minute, 50*time.Millisecond)
	after := hostAt(t, path, "two", time.Now().Add(20*time.Second))
	defer after.ring.Close()
	u := assist.Unended{Session: "s1", Trial: 4, Started: began, BootID: "one", Limit: 100}
	v := after.found(u)
	require.Equal(t, trial.Reset, v.Outcome)
	require.True(t, v.Dated)
	require.Equal(t, "likely", v.Certainty)
	require.Greater(t, float64(v.Minutes), 0.0)

	u.Trial = 5
	v = after.found(u)
	require.False(t, v.Dated, "another trial has left no sign of life")
	require.Empty(t, v.Outcome)

	// The same trial, when it ended in an orderly way.
	end()
	later := hostAt(t, path, "one", time.Now().Add(-time.Hour))
	defer later.ring.Close()
	u.Trial = 4
	require.Equal(t, trial.Stopped, later.found(u).Outcome)
	before.close()
}

// The first planned restart teaches how long one takes.
func TestTheHostLearnsTheRestart(t *testing.T) {
	path := filepath.Join(t.TempDir(), "heartbeat")
	first := hostAt(t, path, "an earlier boot", time.Now())
	first.close()
	now := bootlog.Now()
	if now.ID == "" || !now.Started.Before(time.Now()) {
		t.Skip("this system does not tell when it started")
	}
	second := hostAt(t, path, now.ID, now.Started)
	defer second.ring.Close()
	// This boot began before that mark was written, so nothing can be learnt.
	require.Zero(t, second.ring.Restart())
}
