package store_test

import (
	"context"
	"fmt"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/store"
	"belay/internal/store/lossyfs"
	"belay/internal/store/storetest"
)

// story is what a sweep of faults runs: saves of all kinds, the way to a
// restart and a clean end. It returns the entries that were acknowledged, and
// whether the session "gone" was.
func story(path string) (saved acks, deleted bool, err error) {
	saved = acks{}
	log, err := store.Open(path)
	if err != nil {
		return saved, false, err
	}
	defer func() {
		if end := log.Close(); err == nil {
			err = end
		}
	}()
	ctx := context.Background()
	events, err := log.Events(ctx, "s")
	if err != nil && !fault.Is(err, fault.NotFound) {
		return saved, false, err
	}
	add := func(n int) error {
		before := len(events)
		for range n {
			events = append(events, storetest.Next("s", events, len(events))...)
		}
		err := log.Append(ctx, "s", int64(before), events[before:])
		if err == nil {
			for _, e := range events[before:] {
				saved[e.Version] = e.Hash
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
			deleted = err == nil || fault.Is(err, fault.NotFound)
			return err
		},
		func() error { return log.Secure(ctx) },
		func() error { return add(2) },
	} {
		if err := step(); err != nil {
			return saved, deleted, err
		}
	}
	return saved, deleted, nil
}

// TestEveryFault lets the n-th operation on the disk fail, once and from then
// on, until the story runs through. Afterwards everything acknowledged is
// there, a save is there as a whole or not at all, and the log goes on.
func TestEveryFault(t *testing.T) {
	path, _ := filled(t, 3)
	log := openAt(t, path)
	require.NoError(t, log.Append(t.Context(), "gone", 0, storetest.Sample("gone", 2)))
	require.NoError(t, log.Close())
	before := readFolder(t, filepath.Dir(path))
	stride := heavy(7, 1)
	runs, failed := 0, 0
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
				folder, remove := mounted(t, disk)
				saved, deleted, err := story(filepath.Join(folder, "log.db"))
				disk.Fail(nil)
				remove()
				runs++
				if err != nil {
					failed++
					require.Contains(t, []fault.Code{fault.Unavailable, fault.Corrupt}, fault.CodeOf(err), "%s: %v", message, err)
				}
				afterFault(t, disk.Files(), saved, deleted, message)
				if !reached {
					break
				}
			}
		}
	}
	t.Logf("%d runs, %d ended with a fault", runs, failed)
	require.Greater(t, failed, runs/4, "the faults bite")
}

// afterFault checks what a run of the story has left.
func afterFault(t *testing.T, files folder, saved acks, deleted bool, message string) {
	t.Helper()
	delete(files, "log.db-shm")
	log, err := store.Open(files.put(t))
	require.NoError(t, err, message)
	_, err = log.Verify(t.Context())
	require.NoError(t, err, message)
	events, err := log.Events(t.Context(), "s")
	require.NoError(t, err, message)
	require.Contains(t, []int{3, 4, 7, 9}, len(events), "%s: a save is whole", message)
	for version, hash := range saved {
		require.LessOrEqual(t, version, int64(len(events)), message)
		require.Equal(t, hash, events[version-1].Hash, message)
	}
	gone, err := log.Events(t.Context(), "gone")
	if deleted {
		requireCode(t, fault.NotFound, err)
	} else if err == nil {
		require.Len(t, gone, 2, message)
	}
	require.NoError(t, log.Append(t.Context(), "s", int64(len(events)), storetest.Next("s", events, 0)), message)
	require.NoError(t, log.Close())
}
