package storetest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/store"
)

// Log is what the suite tests.
type Log interface {
	Append(ctx context.Context, session string, expected int64, events []event.Envelope) error
	Events(ctx context.Context, session string) ([]event.Envelope, error)
	EventsAfter(ctx context.Context, session string, version int64) ([]event.Envelope, error)
	Heads(ctx context.Context) ([]event.Head, error)
	Delete(ctx context.Context, session string) error
	PutFlow(ctx context.Context, hash string, body []byte) error
	Flow(ctx context.Context, hash string) ([]byte, error)
	Import(ctx context.Context, data []byte) (string, error)
}

// FlowText is the flow of the suite's sessions.
const FlowText = "flow: sample\ntitle: \"<Ä & ß>\"\n"

// FlowHash is the hash of FlowText.
func FlowHash() string {
	sum := sha256.Sum256([]byte(FlowText))
	return hex.EncodeToString(sum[:])
}

// Started is the time of the first event (chosen).
var Started = time.Date(2031, 3, 4, 5, 6, 7, 890_123_000, time.UTC)

// Sample makes a session of n events, one second apart.
func Sample(session string, n int) []event.Envelope {
	var events []event.Envelope
	for i := range n {
		events = append(events, Next(session, events, i)...)
	}
	return events
}

// Next makes the event that follows events; mark goes into its body.
func Next(session string, events []event.Envelope, mark int) []event.Envelope {
	var payload event.Payload = event.SessionRenamed{Title: fmt.Sprintf("entry %d <&> ä\u2028", mark)}
	if len(events) == 0 {
		payload = event.SessionStarted{Title: "A sample", Flow: "sample", FlowHash: FlowHash()}
	}
	at := Started.Add(time.Duration(len(events)) * time.Second)
	next, err := event.Seal(session, int64(len(events)), hashAt(events), at, payload)
	if err != nil {
		panic(err) // every payload here can be written as JSON
	}
	return next
}

// Run runs the suite; open gives an empty log.
func Run(t *testing.T, open func(t *testing.T) Log) {
	tests := map[string]func(*testing.T, Log){
		"append and read": appendAndRead, "after a cursor": afterCursor, "refusals": refusals,
		"expected version": expectedVersion, "race": race, "heads": heads, "delete": deletion,
		"flows": flows, "import": importing,
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) { test(t, open(t)) })
	}
}

func requireCode(t *testing.T, code fault.Code, err error) {
	t.Helper()
	require.Equal(t, code, fault.CodeOf(err), "%v", err)
}

func appendAndRead(t *testing.T, log Log) {
	ctx := t.Context()
	all := Sample("s-1", 5)
	require.NoError(t, log.Append(ctx, "s-1", 0, all[:1]))
	require.NoError(t, log.Append(ctx, "s-1", 1, all[1:4]))
	require.NoError(t, log.Append(ctx, "s-1", 4, nil), "nothing to add")
	require.NoError(t, log.Append(ctx, "s-1", 4, all[4:]))
	got, err := log.Events(ctx, "s-1")
	require.NoError(t, err)
	require.Equal(t, all, got)
	_, err = log.Events(ctx, "s-2")
	requireCode(t, fault.NotFound, err)
}

func afterCursor(t *testing.T, log Log) {
	ctx := t.Context()
	all := Sample("s", 4)
	require.NoError(t, log.Append(ctx, "s", 0, all))
	for after := range int64(5) {
		got, err := log.EventsAfter(ctx, "s", after)
		require.NoError(t, err)
		require.Len(t, got, 4-int(after))
		for i, e := range got {
			require.Equal(t, all[int(after)+i], e)
		}
	}
	_, err := log.EventsAfter(ctx, "s", 5)
	requireCode(t, fault.Conflict, err)
	_, err = log.EventsAfter(ctx, "s", -1)
	requireCode(t, fault.Invalid, err)
	_, err = log.EventsAfter(ctx, "t", 0)
	requireCode(t, fault.NotFound, err)
}

func refusals(t *testing.T, log Log) {
	ctx := t.Context()
	all := Sample("s", 4)
	require.NoError(t, log.Append(ctx, "s", 0, all[:2]))
	change := func(f func(*event.Envelope)) []event.Envelope {
		e := all[2]
		f(&e)
		return []event.Envelope{e, all[3]}
	}
	for name, events := range map[string][]event.Envelope{
		"body":    change(func(e *event.Envelope) { e.Body = []byte(`{"title":"other"}`) }),
		"hash":    change(func(e *event.Envelope) { e.Hash = all[1].Hash }),
		"time":    change(func(e *event.Envelope) { e.Time = e.Time.Add(time.Microsecond) }),
		"kind":    change(func(e *event.Envelope) { e.Kind = "answered" }),
		"session": change(func(e *event.Envelope) { e.Session = "t" }),
		"gap":     {all[2], all[2]},
	} {
		requireCode(t, fault.Corrupt, log.Append(ctx, "s", 2, events))
		got, err := log.Events(ctx, "s")
		require.NoError(t, err)
		require.Equal(t, all[:2], got, name)
	}
	requireCode(t, fault.Invalid, log.Append(ctx, "", 0, Sample("", 1)))
}

func expectedVersion(t *testing.T, log Log) {
	ctx := t.Context()
	all := Sample("s", 3)
	requireCode(t, fault.Conflict, log.Append(ctx, "s", 1, all[1:2]))
	require.NoError(t, log.Append(ctx, "s", 0, all[:2]))
	requireCode(t, fault.Conflict, log.Append(ctx, "s", 0, all[:1]))
	requireCode(t, fault.Conflict, log.Append(ctx, "s", 1, all[1:2]))
	requireCode(t, fault.Conflict, log.Append(ctx, "s", 3, all[2:]))
	requireCode(t, fault.Conflict, log.Append(ctx, "s", 2, all[1:2]))
}

// race lets eight goroutines append to every version of one session.
func race(t *testing.T, log Log) {
	const goroutines, versions = 8, 12
	ctx := t.Context()
	var won [versions]atomic.Int32
	var others atomic.Int32
	var wait sync.WaitGroup
	for g := range goroutines {
		wait.Go(func() {
			for v := 0; v < versions; {
				var have []event.Envelope
				if v > 0 {
					var err error
					if have, err = log.Events(ctx, "s"); err != nil {
						others.Add(1)
						return
					}
					v = len(have)
				}
				if v >= versions {
					return
				}
				err := log.Append(ctx, "s", int64(v), Next("s", have, g))
				switch fault.CodeOf(err) {
				case "":
					won[v].Add(1)
				case fault.Conflict:
				default:
					others.Add(1)
				}
				v++
			}
		})
	}
	wait.Wait()
	require.Zero(t, others.Load(), "faults other than Conflict")
	for v := range won {
		require.EqualValues(t, 1, won[v].Load(), "winners at version %d", v)
	}
	got, err := log.Events(ctx, "s")
	require.NoError(t, err)
	require.Len(t, got, versions)
}

func heads(t *testing.T, log Log) {
	ctx := t.Context()
	got, err := log.Heads(ctx)
	require.NoError(t, err)
	require.Empty(t, got)
	a, b := Sample("a", 3), Sample("b", 1)
	require.NoError(t, log.Append(ctx, "a", 0, a[:2]))
	require.NoError(t, log.Append(ctx, "b", 0, b))
	headA := event.Head{Session: "a", Version: 2, Hash: a[1].Hash, Started: a[0].Time, Updated: a[1].Time}
	headB := event.Head{Session: "b", Version: 1, Hash: b[0].Hash, Started: b[0].Time, Updated: b[0].Time}
	got, err = log.Heads(ctx)
	require.NoError(t, err)
	require.Equal(t, []event.Head{headB, headA}, got, "the last written first, whatever the clock said")
	require.NoError(t, log.Append(ctx, "a", 2, a[2:]))
	got, err = log.Heads(ctx)
	require.NoError(t, err)
	require.Equal(t, []string{"a", "b"}, []string{got[0].Session, got[1].Session})
	require.Equal(t, a[2].Hash, got[0].Hash)
}

func deletion(t *testing.T, log Log) {
	ctx := t.Context()
	a, b := Sample("a", 3), Sample("b", 2)
	require.NoError(t, log.PutFlow(ctx, FlowHash(), []byte(FlowText)))
	require.NoError(t, log.Append(ctx, "a", 0, a))
	require.NoError(t, log.Append(ctx, "b", 0, b))
	require.NoError(t, log.Delete(ctx, "a"))
	_, err := log.Events(ctx, "a")
	requireCode(t, fault.NotFound, err)
	requireCode(t, fault.NotFound, log.Delete(ctx, "a"))
	got, err := log.Events(ctx, "b")
	require.NoError(t, err)
	require.Equal(t, b, got)
	_, err = log.Flow(ctx, FlowHash())
	require.NoError(t, err)
	require.NoError(t, log.Append(ctx, "a", 0, a[:1]), "the name is free again")
	got, err = log.Events(ctx, "a")
	require.NoError(t, err)
	require.Equal(t, a[:1], got)
}

func flows(t *testing.T, log Log) {
	ctx := t.Context()
	requireCode(t, fault.Corrupt, log.PutFlow(ctx, FlowHash(), []byte("other")))
	_, err := log.Flow(ctx, FlowHash())
	requireCode(t, fault.NotFound, err)
	for range 2 {
		require.NoError(t, log.PutFlow(ctx, FlowHash(), []byte(FlowText)))
	}
	got, err := log.Flow(ctx, FlowHash())
	require.NoError(t, err)
	require.Equal(t, FlowText, string(got))
}

func importing(t *testing.T, log Log) {
	ctx := t.Context()
	all := Sample("s", 3)
	data, err := store.Export(all, []byte(FlowText))
	require.NoError(t, err)
	session, err := log.Import(ctx, data)
	require.NoError(t, err)
	require.Equal(t, "s", session)
	got, err := log.Events(ctx, "s")
	require.NoError(t, err)
	require.Equal(t, all, got)
	flow, err := log.Flow(ctx, FlowHash())
	require.NoError(t, err)
	require.Equal(t, FlowText, string(flow))
	_, err = log.Import(ctx, data)
	requireCode(t, fault.Conflict, err)
	require.NoError(t, log.Append(ctx, "s", 3, Next("s", all, 3)), "it goes on")
}
