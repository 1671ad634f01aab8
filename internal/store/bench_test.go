package store_test

import (
	"database/sql"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/store/storetest"
)

// title makes a body of about 300 bytes (chosen: the size of most events).
var title = strings.Repeat("an event of some length, ", 11)

// BenchmarkAppend compares an append of one event with a bare insert of the
// same body that SQLite syncs in the same way, turn by turn.
func BenchmarkAppend(b *testing.B) {
	log := openAt(b, filepath.Join(b.TempDir(), "log.db"))
	bare, err := sql.Open("sqlite3", filepath.Join(b.TempDir(), "bare.db")+"?_journal_mode=WAL&_synchronous=FULL")
	require.NoError(b, err)
	bare.SetMaxOpenConns(1)
	_, err = bare.Exec("CREATE TABLE t (id INTEGER PRIMARY KEY, body TEXT) STRICT")
	require.NoError(b, err)
	var last []event.Envelope
	var version int64
	var prev string
	var ours, theirs []time.Duration
	for b.Loop() {
		last, err = event.Seal("s", version, prev, storetest.Started, event.SessionRenamed{Title: title})
		require.NoError(b, err)
		start := time.Now()
		err = log.Append(b.Context(), "s", version, last)
		ours = append(ours, time.Since(start))
		require.NoError(b, err)
		version, prev = last[0].Version, last[0].Hash
		start = time.Now()
		_, err = bare.Exec("INSERT INTO t (body) VALUES (?)", string(last[0].Body))
		theirs = append(theirs, time.Since(start))
		require.NoError(b, err)
	}
	slices.Sort(ours)
	slices.Sort(theirs)
	for _, p := range []int{50, 99} {
		mine, bare := ours[len(ours)*p/100], theirs[len(theirs)*p/100]
		b.ReportMetric(float64(mine.Microseconds()), fmt.Sprintf("p%d-µs/append", p))
		b.ReportMetric(float64(mine)/float64(bare), fmt.Sprintf("p%d-append/bare", p))
	}
	require.NoError(b, bare.Close())
	require.NoError(b, log.Close())
}

// BenchmarkOpen opens a log of 10,000 events, with all that is checked then.
func BenchmarkOpen(b *testing.B) {
	path := filepath.Join(b.TempDir(), "log.db")
	log := openAt(b, path)
	for _, session := range []string{"a", "b", "c", "d", "e"} {
		payloads := make([]event.Payload, 2000)
		for i := range payloads {
			payloads[i] = event.SessionRenamed{Title: title}
		}
		events, err := event.Seal(session, 0, "", storetest.Started, payloads...)
		require.NoError(b, err)
		require.NoError(b, log.Append(b.Context(), session, 0, events))
	}
	require.NoError(b, log.Close())
	for b.Loop() {
		log := openAt(b, path)
		require.Empty(b, log.Notes())
		b.StopTimer()
		require.NoError(b, log.Close())
		b.StartTimer()
	}
}

// BenchmarkSecure makes ready for a restart after each save, over 10,000 events.
func BenchmarkSecure(b *testing.B) {
	log := openAt(b, filepath.Join(b.TempDir(), "log.db"))
	events := storetest.Sample("s", 10_000)
	require.NoError(b, log.Append(b.Context(), "s", 0, events))
	last := events[len(events)-1]
	for b.Loop() {
		next, err := event.Seal("s", last.Version, last.Hash, storetest.Started, event.SessionRenamed{Title: title})
		require.NoError(b, err)
		require.NoError(b, log.Append(b.Context(), "s", last.Version, next))
		require.NoError(b, log.Secure(b.Context()))
		last = next[0]
	}
	require.NoError(b, log.Close())
}

// BenchmarkEvents reads a session of 1,000 events, and its last one.
func BenchmarkEvents(b *testing.B) {
	log := openAt(b, filepath.Join(b.TempDir(), "log.db"))
	require.NoError(b, log.Append(b.Context(), "s", 0, storetest.Sample("s", 1000)))
	b.Run("all", func(b *testing.B) {
		for b.Loop() {
			_, err := log.Events(b.Context(), "s")
			require.NoError(b, err)
		}
	})
	b.Run("last", func(b *testing.B) {
		for b.Loop() {
			_, err := log.EventsAfter(b.Context(), "s", 999)
			require.NoError(b, err)
		}
	})
	require.NoError(b, log.Close())
}
