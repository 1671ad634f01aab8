package store_test

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/mattn/go-sqlite3"
	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/store"
	"belay/internal/store/storetest"
)

// acks are the hashes of the entries that a child said were saved.
type acks map[int64]string

func (a acks) add(t *testing.T, line string) {
	t.Helper()
	var version int64
	var hash string
	_, err := fmt.Sscan(line, &version, &hash)
	require.NoError(t, err, line)
	a[version] = hash
}

// requireSaved opens the log anew and finds every acknowledged entry in it.
// It returns how many entries there are.
func requireSaved(t *testing.T, path string, saved acks) int {
	t.Helper()
	log := openAt(t, path)
	_, err := log.Verify(t.Context())
	require.NoError(t, err)
	events, err := log.Events(t.Context(), "s")
	if len(saved) == 0 && fault.Is(err, fault.NotFound) {
		err = nil
	}
	require.NoError(t, err)
	for version, hash := range saved {
		require.GreaterOrEqual(t, int64(len(events)), version, "entry %d was acknowledged", version)
		require.Equal(t, hash, events[version-1].Hash, "entry %d", version)
	}
	require.NoError(t, log.Close())
	return len(events)
}

func TestKilledWhileAppending(t *testing.T) {
	const seed = 71
	kills, opening := heavy(30, 200), 0
	random := rand.New(rand.NewPCG(seed, 0))
	path := filepath.Join(t.TempDir(), "log.db")
	saved := acks{}
	for range kills {
		cmd, lines := child(t, "append", path)
		if random.IntN(3) == 0 { // while it opens, and recovers from the kill before
			opening++
			time.Sleep(time.Duration(random.IntN(60)) * time.Millisecond)
			require.NoError(t, cmd.Process.Kill())
			for lines.Scan() {
				saved.add(t, lines.Text())
			}
			require.Error(t, cmd.Wait())
			continue
		}
		for range 1 + random.IntN(40) {
			require.True(t, lines.Scan(), "seed %d", seed)
			saved.add(t, lines.Text())
		}
		time.Sleep(time.Duration(random.IntN(400)) * time.Microsecond) // anywhere within a save
		require.NoError(t, cmd.Process.Kill())
		for lines.Scan() {
			saved.add(t, lines.Text())
		}
		require.Error(t, cmd.Wait())
		requireSaved(t, path, saved)
	}
	requireSaved(t, path, saved)
	t.Logf("%d kills, seed %d, %d of them while opening: %d acknowledged entries, none lost", kills, seed, opening, len(saved))
	require.Greater(t, len(saved), kills)
}

func TestCommitInDoubt(t *testing.T) {
	failed := sqlite3.Error{Code: sqlite3.ErrIoErr, ExtendedCode: sqlite3.ErrIoErrFsync}
	for name, test := range map[string]struct {
		before func(*sql.Tx) error
		want   int // entries after opening anew
	}{
		"it is there":     {(*sql.Tx).Commit, 3},
		"it is not there": {(*sql.Tx).Rollback, 3}, // the witness has it
	} {
		t.Run(name, func(t *testing.T) {
			path, events := filled(t, 2)
			log := openAt(t, path)
			log.OnCommit(func(tx *sql.Tx) error { return errors.Join(failed, test.before(tx)) })
			next := storetest.Next("s", events, 2)
			err := log.Append(t.Context(), "s", 2, next)
			requireCode(t, fault.Unavailable, err)
			require.ErrorContains(t, err, "cannot tell whether the last save reached the disk")
			require.True(t, log.NeedsRestart())

			log.OnCommit(func(*sql.Tx) error { t.Error("a write after a save in doubt"); return nil })
			requireCode(t, fault.Unavailable, log.Append(t.Context(), "new", 0, storetest.Sample("new", 1)))
			requireCode(t, fault.Unavailable, log.Delete(t.Context(), "other"))
			requireCode(t, fault.Unavailable, log.PutFlow(t.Context(), store.HashOf([]byte("new")), []byte("new")))
			_, err = log.Events(t.Context(), "other")
			require.NoError(t, err, "reads go on")
			require.NoError(t, log.Backup(t.Context(), path+".bak"), "and so do backups")
			require.NoError(t, log.Close())
			require.FileExists(t, path+"-wal", "the end of the log did not write either")

			require.Equal(t, test.want, requireSaved(t, path, nil))
		})
	}
}

func TestCleanFailuresDoNotStopTheLog(t *testing.T) {
	for name, code := range map[string]sqlite3.ErrNo{"full": sqlite3.ErrFull, "busy": sqlite3.ErrBusy} {
		path, events := filled(t, 2)
		log := openAt(t, path)
		log.OnCommit(func(tx *sql.Tx) error { return errors.Join(sqlite3.Error{Code: code}, tx.Rollback()) })
		next := storetest.Next("s", events, 2)
		requireCode(t, fault.Unavailable, log.Append(t.Context(), "s", 2, next))
		require.False(t, log.NeedsRestart(), name)
		log.OnCommit((*sql.Tx).Commit)
		require.NoError(t, log.Append(t.Context(), "s", 2, next), name)
		require.NoError(t, log.Close())
	}
}

func TestEndedContext(t *testing.T) {
	path, events := filled(t, 2)
	log := openAt(t, path)
	ctx, cancel := context.WithCancel(t.Context())
	log.OnCommit(func(tx *sql.Tx) error { cancel(); return tx.Commit() })
	require.NoError(t, log.Append(ctx, "s", 2, storetest.Next("s", events, 2)), "a save that runs is not broken off")
	requireCode(t, fault.Unavailable, log.Delete(ctx, "s"))
	_, err := log.Events(ctx, "s")
	requireCode(t, fault.Unavailable, err)
	require.False(t, log.NeedsRestart())
	require.NoError(t, log.Close())
	require.Equal(t, 3, requireSaved(t, path, nil))
}

func TestFullDatabase(t *testing.T) {
	path, events := filled(t, 2)
	log := openAt(t, path)
	require.NoError(t, log.Exec("PRAGMA max_page_count=12"))
	var err error
	for err == nil {
		next := storetest.Next("s", events, len(events))
		if err = log.Append(t.Context(), "s", int64(len(events)), next); err == nil {
			events = append(events, next...)
		}
	}
	requireCode(t, fault.Unavailable, err)
	require.ErrorContains(t, err, "The disk is full, so nothing was saved.")
	got, err := log.Events(t.Context(), "s")
	require.NoError(t, err)
	require.Equal(t, events, got)
	require.NoError(t, log.Exec("PRAGMA max_page_count=1000"))
	require.NoError(t, log.Append(t.Context(), "s", int64(len(events)), storetest.Next("s", events, 0)))
	require.NoError(t, log.Close())
}

// failSync is a library that makes the n-th fsync or fdatasync of the
// process fail, and all after it when FAIL_ON is set.
const failSync = `
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <stdlib.h>
static int count;
static int fails(void) {
	int at = atoi(getenv("FAIL_AT"));
	count++;
	if (count == at || (getenv("FAIL_ON") && count > at)) { errno = EIO; return 1; }
	return 0;
}
int fsync(int fd) { return fails() ? -1 : ((int (*)(int))dlsym(RTLD_NEXT, "fsync"))(fd); }
int fdatasync(int fd) { return fails() ? -1 : ((int (*)(int))dlsym(RTLD_NEXT, "fdatasync"))(fd); }
`

// TestEveryFailingSync fails the first, third, … sync of SQLite, once and
// from then on, until the point lies behind 60 saves.
func TestEveryFailingSync(t *testing.T) {
	library := buildLibrary(t)
	failures := 0
	for n := 1; n <= 40; n += 2 {
		for _, mode := range []string{"FAIL_ON=", "FAIL_ON=1"} {
			env := []string{"LD_PRELOAD=" + library, fmt.Sprintf("FAIL_AT=%d", n)}
			if mode != "FAIL_ON=" {
				env = append(env, mode)
			}
			path := filepath.Join(t.TempDir(), "log.db")
			cmd, lines := child(t, "append", path, env...)
			saved, trouble := acks{}, ""
			for len(saved) < 60 && lines.Scan() {
				if strings.HasPrefix(lines.Text(), "error") {
					trouble = lines.Text()
					break
				}
				saved.add(t, lines.Text())
			}
			if trouble == "" { // a checkpoint may fail unseen: it is tried again
				require.Len(t, saved, 60, "sync %d", n)
				require.NoError(t, cmd.Process.Kill())
				for lines.Scan() && !strings.HasPrefix(lines.Text(), "error") {
					saved.add(t, lines.Text())
				}
			} else {
				failures++
				require.Contains(t, trouble, "error unavailable", "sync %d", n)
			}
			require.Error(t, cmd.Wait())
			count := requireSaved(t, path, saved)
			require.LessOrEqual(t, count-len(saved), 1, "only the last save may be in doubt: sync %d", n)
		}
	}
	t.Logf("%d of 40 runs met the failure", failures)
	require.Greater(t, failures, 30, "the library bites")
}

func buildLibrary(t *testing.T) string {
	t.Helper()
	cc, err := exec.LookPath("gcc")
	if err != nil || os.PathSeparator != '/' {
		t.Skip("needs gcc and a system with LD_PRELOAD")
	}
	folder := t.TempDir()
	source, library := filepath.Join(folder, "fail.c"), filepath.Join(folder, "fail.so")
	require.NoError(t, os.WriteFile(source, []byte(failSync), 0o600))
	out, err := exec.CommandContext(t.Context(), cc, "-shared", "-fPIC", "-o", library, source, "-ldl").CombinedOutput()
	require.NoError(t, err, string(out))
	return library
}
