package store_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/store"
	"belay/internal/store/storetest"
)

func TestRestoreOnAnotherPC(t *testing.T) {
	path, events := filled(t, 5)
	log := openAt(t, path)
	backup := filepath.Join(t.TempDir(), "backup.db")
	require.NoError(t, log.Backup(t.Context(), backup))
	require.NoError(t, log.Close())
	before, err := os.ReadFile(backup)
	require.NoError(t, err)

	there := filepath.Join(quickDir(t), "log.db")
	log = openAt(t, there)
	require.NoError(t, log.Append(t.Context(), "own", 0, storetest.Sample("own", 2)))
	r, err := log.Restore(t.Context(), backup)
	require.NoError(t, err)
	require.Equal(t, store.Restored{Added: []string{"s", "other"}}, r)
	r, err = log.Restore(t.Context(), backup)
	require.NoError(t, err)
	require.Equal(t, store.Restored{Kept: []string{"s", "other"}}, r, "once more changes nothing")
	got, err := log.Events(t.Context(), "s")
	require.NoError(t, err)
	require.Equal(t, events, got)
	flow, err := log.Flow(t.Context(), flowHash)
	require.NoError(t, err)
	require.Equal(t, flowText, string(flow))
	require.NoError(t, log.Append(t.Context(), "s", 5, storetest.Next("s", events, 5)), "it goes on here")
	require.NoError(t, log.Close())
	log = openAt(t, there)
	require.Empty(t, log.Notes())
	require.NoError(t, log.Close())
	after, err := os.ReadFile(backup)
	require.NoError(t, err)
	require.Equal(t, before, after)
}

func TestRestoreChangesNothingThatIsThere(t *testing.T) {
	path, events := filled(t, 5)
	log := openAt(t, path)
	backup := filepath.Join(t.TempDir(), "backup.db")
	require.NoError(t, log.Backup(t.Context(), backup))
	require.NoError(t, log.Close())

	log = openAt(t, filepath.Join(quickDir(t), "log.db"))
	require.NoError(t, log.Append(t.Context(), "s", 0, events[:3]))
	fork, err := event.Seal("other", 0, "", storetest.Started, event.SessionStarted{Title: "another"})
	require.NoError(t, err)
	require.NoError(t, log.Append(t.Context(), "other", 0, fork))
	r, err := log.Restore(t.Context(), backup)
	require.NoError(t, err)
	require.Equal(t, store.Restored{Extended: []string{"s"}, Differ: []string{"other"}}, r)
	got, err := log.Events(t.Context(), "other")
	require.NoError(t, err)
	require.Equal(t, fork, got)
	got, err = log.Events(t.Context(), "s")
	require.NoError(t, err)
	require.Equal(t, events, got)
	require.NoError(t, log.Close())
}

func TestRestoreRefuses(t *testing.T) {
	path, _ := filled(t, 5)
	log := openAt(t, path)
	good := filepath.Join(t.TempDir(), "backup.db")
	require.NoError(t, log.Backup(t.Context(), good))
	data, err := os.ReadFile(good)
	require.NoError(t, err)
	for name, test := range map[string]struct {
		data []byte
		code fault.Code
	}{
		"damaged": {flip(data, lineOf(t, data, `"entry 3 `), 0), fault.Corrupt},
		"cut":     {data[:len(data)/2], fault.Corrupt},
		"text":    {[]byte("a text, and no backup at all"), fault.Invalid},
		"empty":   {nil, fault.Invalid},
	} {
		bad := filepath.Join(t.TempDir(), "bad.db")
		require.NoError(t, os.WriteFile(bad, test.data, 0o600))
		r, err := log.Restore(t.Context(), bad)
		require.Equal(t, test.code, fault.CodeOf(err), "%s: %v", name, err)
		require.Empty(t, r)
	}
	_, err = log.Restore(t.Context(), filepath.Join(t.TempDir(), "none.db"))
	requireCode(t, fault.NotFound, err)
	require.NoError(t, log.Close())
}
