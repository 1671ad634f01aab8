package store_test

import (
	"context"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/store"
	"belay/internal/store/lossyfs"
	"belay/internal/store/storetest"
)

// The processes that the rig works on are children of the test: a process
// that maps a file of a FUSE mount which it serves itself can wait for itself.
func init() {
	children["story"] = story
	children["open"] = func(path string) error { return openOnce(store.Open(path)) }
	children["migrate"] = func(path string) error { return openOnce(store.OpenWith(path, newerSteps())) }
}

func openOnce(log *store.Log, err error) error {
	if err != nil {
		return err
	}
	if err := log.Close(); err != nil {
		return err
	}
	fmt.Println("done")
	return nil
}

// story is what a sweep of faults runs: saves of all kinds, the way to a
// restart and a clean end. It tells what it was told.
func story(path string) (err error) {
	log, err := store.Open(path)
	if err != nil {
		return err
	}
	defer func() {
		if end := log.Close(); err == nil {
			err = end
		}
	}()
	ctx := context.Background()
	events, err := log.Events(ctx, "s")
	if err != nil && !fault.Is(err, fault.NotFound) {
		return err
	}
	add := func(n int) error {
		before := len(events)
		for range n {
			events = append(events, storetest.Next("s", events, len(events))...)
		}
		err := log.Append(ctx, "s", int64(before), events[before:])
		if err == nil {
			for _, e := range events[before:] {
				fmt.Println(e.Version, e.Hash)
			}
		}
		return err
	}
	body := []byte("flow of the story")
	for _, step := range []func() error{
		func() error { return add(1) },
		func() error { return log.PutFlow(ctx, store.HashOf(body), body) },
		func() error { return add(3) },
		func() error {
			err := log.Delete(ctx, "gone")
			if err == nil || fault.Is(err, fault.NotFound) {
				fmt.Println("deleted")
				return nil
			}
			return err
		},
		func() error { return add(2) },
		func() error {
			err := log.Secure(ctx)
			if err == nil {
				fmt.Println("safe to restart")
			}
			return err
		},
	} {
		if err := step(); err != nil {
			return err
		}
	}
	fmt.Println("done")
	return nil
}

// told is what a child said.
type told struct {
	saved               acks
	deleted, safe, done bool
	fault               string // "error CODE …", or ""
}

// run runs a child on a disk until it ends by itself.
func run(t *testing.T, how string, disk *lossyfs.Disk) (said told) {
	t.Helper()
	path, remove := mounted(t, disk)
	cmd, lines := child(t, how, filepath.Join(path, "log.db"))
	said.saved = acks{}
	for lines.Scan() {
		switch line := lines.Text(); {
		case line == "deleted":
			said.deleted = true
		case line == "safe to restart":
			said.safe = true
		case line == "done":
			said.done = true
		case strings.HasPrefix(line, "error"):
			said.fault = line
		case said.fault == "":
			said.saved.add(t, line)
		}
	}
	_ = cmd.Wait() // how it ended, it has said
	remove()
	return said
}

const faultSeed = 29

// TestEveryFault lets the n-th operation on the disk fail, once and from then
// on, until the story runs through. Afterwards everything acknowledged is
// there, a save is there as a whole or not at all, and the log goes on.
func TestEveryFault(t *testing.T) {
	path, _ := filled(t, 3)
	log := openAt(t, path)
	require.NoError(t, log.Append(t.Context(), "gone", 0, storetest.Sample("gone", 2)))
	require.NoError(t, log.Close())
	before := readFolder(t, filepath.Dir(path))
	stride := heavy(11, 1)
	runs, failed, cuts := 0, 0, 0
	luck := rand.New(rand.NewPCG(faultSeed, 3))
	for _, errno := range []syscall.Errno{syscall.EIO, syscall.ENOSPC} {
		for _, forever := range []bool{false, true} {
			for n := 1; ; n += stride {
				message := fmt.Sprintf("%v at operation %d, from then on: %v", errno, n, forever)
				disk := lossyfs.New(before)
				at, reached := 0, false
				disk.Fail(func(op lossyfs.Op, name string) syscall.Errno {
					if errno == syscall.ENOSPC && op != lossyfs.Write && op != lossyfs.Create && op != lossyfs.Sync {
						return 0
					}
					if at++; at == n || forever && at > n {
						reached = true
						return errno
					}
					return 0
				})
				said := run(t, "story", disk)
				files := folder(disk.Files())
				if forever && errno == syscall.EIO { // take it for a cut at this operation
					files = disk.Cut(luck)
					cuts++
				}
				runs++
				if !said.done {
					failed++
					require.Regexp(t, "^error (unavailable|corrupt) ", said.fault, message)
				}
				afterFault(t, files, said, message)
				if !reached {
					break
				}
			}
		}
	}
	t.Logf("%d runs, seed %d, %d ended with a fault, %d with a cut of the power", runs, faultSeed, failed, cuts)
	require.Greater(t, failed, runs/4, "the faults bite")
}

// afterFault checks what a run of the story has left.
func afterFault(t *testing.T, files folder, said told, message string) {
	t.Helper()
	delete(files, "log.db-shm")
	log, err := store.Open(files.put(t))
	require.NoError(t, err, message)
	_, err = log.Verify(t.Context())
	require.NoError(t, err, message)
	events, err := log.Events(t.Context(), "s")
	require.NoError(t, err, message)
	require.Contains(t, []int{3, 4, 7, 9}, len(events), "%s: a save is whole", message)
	for version, hash := range said.saved {
		require.LessOrEqual(t, version, int64(len(events)), message)
		require.Equal(t, hash, events[version-1].Hash, message)
	}
	gone, err := log.Events(t.Context(), "gone")
	if said.safe {
		require.Len(t, events, 9, "%s: what the restart is for", message)
	}
	if said.deleted {
		requireCode(t, fault.NotFound, err)
	} else if err == nil {
		require.Len(t, gone, 2, message)
	}
	require.NoError(t, log.Append(t.Context(), "s", int64(len(events)), storetest.Next("s", events, 0)), message)
	require.NoError(t, log.Close())
}

// cutsDuring cuts the power at every stride-th operation of a child on a disk
// with files, and hands what survives to check. It returns the number of cuts.
func cutsDuring(t *testing.T, files folder, stride int, how string, check func(left folder, message string)) int {
	t.Helper()
	luck := rand.New(rand.NewPCG(faultSeed, 4))
	for n := 1; ; n += stride {
		disk := lossyfs.New(files)
		at := 0
		disk.Fail(func(lossyfs.Op, string) syscall.Errno {
			if at++; at >= n {
				return syscall.EIO
			}
			return 0
		})
		said := run(t, how, disk)
		left := folder(disk.Cut(luck))
		delete(left, "log.db-shm")
		if at < n {
			require.True(t, said.done, said.fault)
			return (n - 1) / stride
		}
		check(left, fmt.Sprintf("seed %d, cut at operation %d", faultSeed, n))
	}
}

// TestCutsDuringRepair cuts the power while a damaged log is repaired.
func TestCutsDuringRepair(t *testing.T) {
	f, s, other := living(t, 20)
	db, w := f["log.db-wal"], f["log.db.witness"]
	both := f.with("log.db-wal", flip(db, len(db)/3, 0)).with("log.db.witness", flip(w, lineOf(t, w, `"entry 2 `), 0))
	for name, damaged := range map[string]folder{
		"write-ahead file": f.with("log.db-wal", flip(db, len(db)/3, 0)),
		"log":              f.with("log.db", nil),
		"witness":          f.with("log.db.witness", flip(w, lineOf(t, w, `"entry 5 `), 0)),
		"both":             both,
	} {
		n := cutsDuring(t, damaged, heavy(10, 1), "open", func(left folder, message string) {
			log, err := store.Open(left.put(t))
			require.NoError(t, err, "%s: %s", name, message)
			for session, want := range map[string][]event.Envelope{"s": s, "t": other} {
				got, err := log.Events(t.Context(), session)
				require.NoError(t, err, "%s: %s", name, message)
				require.Equal(t, want, got, "%s: %s", name, message)
			}
			require.NoError(t, log.Close())
		})
		t.Logf("%s: %d cuts", name, n)
		require.Positive(t, n)
	}
}

// TestCutsDuringMigration cuts the power while the schema changes. Whichever it
// is at then, the log opens and goes on.
func TestCutsDuringMigration(t *testing.T) {
	path, events := filled(t, 5)
	migrated := 0
	n := cutsDuring(t, readFolder(t, filepath.Dir(path)), heavy(4, 1), "migrate", func(left folder, message string) {
		path := left.put(t)
		if log, err := store.Open(path); err == nil { // the program from before
			require.NoError(t, log.Close())
		} else {
			requireCode(t, fault.Invalid, err)
			migrated++
		}
		log, err := store.OpenWith(path, newerSteps())
		require.NoError(t, err, message)
		require.Equal(t, 2, log.SchemaVersion())
		got, err := log.Events(t.Context(), "s")
		require.NoError(t, err)
		require.Equal(t, events, got, message)
		require.NoError(t, log.Exec("INSERT INTO more VALUES (1)"))
		require.NoError(t, log.Close())
	})
	t.Logf("%d cuts, %d of them with the new schema", n, migrated)
	require.Positive(t, n)
}

// newerSteps are the migrations of a program after this one.
func newerSteps() fs.FS {
	first, err := fs.ReadFile(store.Migrations(), "0001_log.sql")
	if err != nil {
		panic(err) // it is embedded
	}
	return fstest.MapFS{
		"0001_log.sql":  {Data: first},
		"0002_more.sql": {Data: []byte("CREATE TABLE more (a INTEGER) STRICT; ALTER TABLE session ADD COLUMN note TEXT;")},
	}
}
