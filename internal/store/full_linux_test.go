package store_test

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/store"
	"belay/internal/store/storetest"
)

func init() {
	children["append to a limit"] = func(path string) error {
		// Source: setrlimit(2). The Go runtime ignores the signal.
		limit := syscall.Rlimit{Cur: 200 << 10, Max: 200 << 10}
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
			return err
		}
		return childAppend(path)
	}
}

// TestFileSizeLimit meets a limit that is not a full disk for SQLite, but a
// write error: the log stops, and opened anew it is whole and goes on.
func TestFileSizeLimit(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.db")
	cmd, lines := child(t, "append to a limit", path)
	saved, trouble := acks{}, ""
	for trouble == "" && lines.Scan() {
		if strings.HasPrefix(lines.Text(), "error") {
			trouble = lines.Text()
			continue
		}
		saved.add(t, lines.Text())
	}
	require.Error(t, cmd.Wait())
	require.Contains(t, trouble, "error unavailable")
	require.Contains(t, trouble, "cannot tell whether the last save reached the disk")
	require.NotEmpty(t, saved)
	requireSaved(t, path, saved)
}

func TestA34FullDisk(t *testing.T) {
	disk := t.TempDir()
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=1m"); err != nil {
		t.Skip("needs the right to mount a small disk: ", err)
	}
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(disk, syscall.MNT_DETACH)) })
	ballast := filepath.Join(disk, "ballast")
	require.NoError(t, os.WriteFile(ballast, make([]byte, 400<<10), 0o600))
	log, err := store.Open(filepath.Join(disk, "log.db"))
	require.NoError(t, err)
	events := storetest.Sample("s", 1)
	require.NoError(t, log.Append(t.Context(), "s", 0, events))
	require.FileExists(t, filepath.Join(disk, "log.db.ballast"))
	require.Nil(t, log.Warning())
	warned := 0
	for err == nil {
		if log.Warning() != nil {
			warned++
		}
		next := storetest.Next("s", events, len(events))
		if err = log.Append(t.Context(), "s", int64(len(events)), next); err == nil {
			events = append(events, next...)
		}
	}
	requireCode(t, fault.Unavailable, err)
	require.ErrorContains(t, err, "The disk is full, so nothing was saved.")
	require.Greater(t, warned, 5, "entries that the reserve took in")
	require.NoFileExists(t, filepath.Join(disk, "log.db.ballast"))
	requireCode(t, fault.Unavailable, log.Secure(t.Context()))
	got, err := log.Events(t.Context(), "s")
	require.NoError(t, err)
	require.Equal(t, events, got)
	require.ErrorContains(t, log.Backup(t.Context(), filepath.Join(disk, "backup.db")), "The disk is full")
	require.Equal(t, []string{"ballast", "log.db", "log.db-shm", "log.db-wal", "log.db.lock", "log.db.witness"}, namesIn(t, disk))

	require.NoError(t, os.Remove(ballast))
	require.NoError(t, log.Append(t.Context(), "s", int64(len(events)), storetest.Next("s", events, 0)),
		"with space again, no restart is needed")
	_, err = log.Verify(t.Context())
	require.NoError(t, err)
	require.NoError(t, log.Secure(t.Context()))
	require.Nil(t, log.Warning(), "the reserve is back")
	require.NoError(t, log.Close())
}
