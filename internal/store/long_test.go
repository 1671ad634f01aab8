package store_test

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/store/storetest"
)

// TestClockJumps saves while the clock jumps by years and runs backwards. Order
// is by version and by write, and nothing is taken for damage.
func TestClockJumps(t *testing.T) {
	path := filepath.Join(quickDir(t), "log.db")
	log := openAt(t, path)
	now := storetest.Started
	var events []event.Envelope
	for i, jump := range []time.Duration{0, 365 * 24 * time.Hour, -2 * 365 * 24 * time.Hour, time.Hour, -time.Hour, -1, 24 * 365 * 100 * time.Hour} {
		now = now.Add(jump)
		var payload event.Payload = event.SessionRenamed{Title: "x"}
		prev := ""
		if i == 0 {
			payload = event.SessionStarted{Title: "x"}
		} else {
			prev = events[i-1].Hash
		}
		next, err := event.Seal("s", int64(i), prev, now, payload)
		require.NoError(t, err)
		require.NoError(t, log.Append(t.Context(), "s", int64(i), next))
		events = append(events, next...)
		require.NoError(t, log.Secure(t.Context()))
	}
	old, err := event.Seal("old", 0, "", storetest.Started.Add(-50*365*24*time.Hour), event.SessionStarted{Title: "x"})
	require.NoError(t, err)
	require.NoError(t, log.Append(t.Context(), "old", 0, old))
	heads, err := log.Heads(t.Context())
	require.NoError(t, err)
	require.Equal(t, "old", heads[0].Session, "the last written first")
	require.NoError(t, log.Close())
	// The clock of the files jumps too: the newest backup has the oldest time.
	require.NoError(t, os.Chtimes(path+".backup-7", time.Unix(0, 0), time.Unix(0, 0)))
	log = openAt(t, path)
	require.Empty(t, log.Notes())
	got, err := log.Events(t.Context(), "s")
	require.NoError(t, err)
	require.Equal(t, events, got)
	require.NoError(t, log.Secure(t.Context()))
	require.NoError(t, log.Close())
	require.NoFileExists(t, path+".backup-5", "the oldest goes, by number")
	require.FileExists(t, path+".backup-7")
	require.FileExists(t, path+".backup-8")
}

// TestLongUse saves and opens many times: memory, handles and the write-ahead
// file do not grow with it.
func TestLongUse(t *testing.T) {
	path := filepath.Join(quickDir(t), "log.db")
	saves, openings := heavy(3000, 50_000), heavy(25, 500)
	var events []event.Envelope
	var handles int
	var heap uint64
	for i := range openings {
		log := openAt(t, path)
		for range saves / openings {
			next := storetest.Next("s", events[max(0, len(events)-1):], 1)
			if n := len(events); n > 0 {
				last := events[n-1]
				var err error
				next, err = event.Seal("s", last.Version, last.Hash, storetest.Started, event.SessionRenamed{Title: "x"})
				require.NoError(t, err)
			}
			version := next[0].Version - 1
			require.NoError(t, log.Append(t.Context(), "s", version, next))
			events = next
		}
		if info, err := os.Stat(path + "-wal"); err == nil {
			require.Less(t, info.Size(), int64(4<<20+64<<10), "the write-ahead file is emptied on the way")
		}
		if i == openings/5 {
			handles, heap = openHandles(t), heapNow()
		}
		require.NoError(t, log.Close())
	}
	log := openAt(t, path)
	for range saves / openings {
		_, err := log.Heads(t.Context())
		require.NoError(t, err)
	}
	require.LessOrEqual(t, openHandles(t), handles)
	grown := float64(int64(heapNow())-int64(heap)) / (1 << 20)
	t.Logf("%d saves, %d openings: the heap grew by %.2f MiB", saves, openings, grown)
	require.Less(t, grown, 1*float64(saves)*0.8/1000, "MiB, less than 1 for 1,000 saves")
	require.NoError(t, log.Close())
}

func heapNow() uint64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// openHandles counts the files that this process has open, where the system
// tells it.
func openHandles(t *testing.T) int {
	t.Helper()
	entries, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		return 0
	}
	return len(entries)
}
