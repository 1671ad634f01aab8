package hub_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/hub"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// log is a log of sessions, each a count of events.
type log struct {
	mu    sync.Mutex
	ends  map[string]int64
	reads int
}

func newLog(session string, end int64) *log { return &log{ends: map[string]int64{session: end}} }

func (l *log) add(session string) int64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.ends[session]++
	return l.ends[session]
}

func (l *log) read(_ context.Context, session string, after int64) ([]event.Envelope, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.reads++
	end, ok := l.ends[session]
	if !ok {
		return nil, fault.New(fault.NotFound, "No such session.", "Choose another.")
	}
	var events []event.Envelope
	for v := after + 1; v <= end; v++ {
		events = append(events, event.Envelope{Session: session, Version: v})
	}
	return events, nil
}

func TestReplaysThenGoesOnLive(t *testing.T) {
	log := newLog("s", 5)
	h := hub.New(log.read)
	defer h.Close()
	l := h.Listen(t.Context(), "s", 2)
	for want := int64(3); want <= 5; want++ {
		require.Equal(t, want, (<-l.Events()).Version)
	}
	for want := int64(6); want <= 8; want++ {
		h.Notify("s", log.add("s"))
		require.Equal(t, want, (<-l.Events()).Version)
	}
}

func TestSlowListenerHoldsUpNobody(t *testing.T) {
	log := newLog("s", 1)
	h := hub.New(log.read)
	defer h.Close()
	slow, quick := h.Listen(t.Context(), "s", 0), h.Listen(t.Context(), "s", 0)
	require.EqualValues(t, 1, (<-quick.Events()).Version)
	for range 1000 {
		version := log.add("s")
		h.Notify("s", version)
		require.Equal(t, version, (<-quick.Events()).Version)
	}
	for want := range int64(1001) {
		require.Equal(t, want+1, (<-slow.Events()).Version)
	}
}

func TestOnlyItsOwnSessionWakesAListener(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := newLog("s", 0)
		log.ends["other"] = 0
		h := hub.New(log.read)
		defer h.Close()
		l := h.Listen(t.Context(), "s", 0)
		synctest.Wait()
		require.Equal(t, 1, log.reads)
		h.Notify("other", log.add("other"))
		h.Notify("s", 0)
		synctest.Wait()
		require.Equal(t, 1, log.reads, "nothing new for it")
		h.Notify("s", log.add("s"))
		require.EqualValues(t, 1, (<-l.Events()).Version)
		synctest.Wait()
		require.Equal(t, 2, log.reads)
	})
}

// TestManyAtOnce has listeners of a session that grows. Every second one
// leaves after each 50 events, and comes back at its cursor.
func TestManyAtOnce(t *testing.T) {
	const writers, each, listeners = 4, 250, 16
	log := newLog("s", 0)
	h := hub.New(log.read)
	var wait sync.WaitGroup
	errs := make(chan error, listeners)
	for i := range listeners {
		leg := int64(writers * each)
		if i%2 == 1 {
			leg = 50
		}
		wait.Go(func() {
			var err error
			for at := int64(0); at < writers*each && err == nil; at += leg {
				err = hear(t.Context(), h, at, at+leg)
			}
			errs <- err
		})
	}
	for range writers {
		wait.Go(func() {
			for range each {
				h.Notify("s", log.add("s"))
			}
		})
	}
	wait.Wait()
	h.Close()
	for range listeners {
		require.NoError(t, <-errs)
	}
}

// hear takes the events after version after, up to version to, and leaves.
func hear(ctx context.Context, h *hub.Hub, after, to int64) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	l := h.Listen(ctx, "s", after)
	for want := after + 1; want <= to; want++ {
		if e := <-l.Events(); e.Version != want {
			return fmt.Errorf("got %d, not %d", e.Version, want)
		}
	}
	return nil
}

func TestEnds(t *testing.T) {
	log := newLog("s", 3)
	for name, end := range map[string]func(*hub.Hub, context.CancelFunc){
		"context": func(_ *hub.Hub, cancel context.CancelFunc) { cancel() },
		"hub":     func(h *hub.Hub, _ context.CancelFunc) { h.Close() },
	} {
		for took := range 4 { // while it waits to hand out, and while it waits for news
			h := hub.New(log.read)
			ctx, cancel := context.WithCancel(t.Context())
			l := h.Listen(ctx, "s", 0)
			for range took {
				<-l.Events()
			}
			end(h, cancel)
			for range l.Events() {
			}
			require.NoError(t, l.Err(), name)
			h.Notify("s", 4)
			h.Close()
			cancel()
		}
	}
}

func TestClosedHub(t *testing.T) {
	h := hub.New(newLog("s", 3).read)
	h.Close()
	h.Close()
	l := h.Listen(t.Context(), "s", 0)
	_, more := <-l.Events()
	require.False(t, more)
	require.NoError(t, l.Err())
}

func TestCloseWaitsForListeners(t *testing.T) {
	h := hub.New(newLog("s", 1).read)
	var all []*hub.Listener
	for range 100 {
		all = append(all, h.Listen(t.Context(), "s", 0))
	}
	h.Close()
	for _, l := range all {
		select {
		case _, more := <-l.Events():
			require.False(t, more)
		default:
			t.Fatal("a listener goes on after Close")
		}
	}
}

func TestReadFaultEndsTheListener(t *testing.T) {
	log := newLog("s", 1)
	h := hub.New(log.read)
	defer h.Close()
	l := h.Listen(t.Context(), "none", 0)
	_, more := <-l.Events()
	require.False(t, more)
	require.Equal(t, fault.NotFound, fault.CodeOf(l.Err()))

	deleted := h.Listen(t.Context(), "s", 0)
	<-deleted.Events()
	log.mu.Lock()
	delete(log.ends, "s")
	log.mu.Unlock()
	h.Notify("s", 2)
	_, more = <-deleted.Events()
	require.False(t, more)
	require.Equal(t, fault.NotFound, fault.CodeOf(deleted.Err()))
}

func TestAGapEndsTheListener(t *testing.T) {
	for name, versions := range map[string][]int64{"gap": {1, 3}, "twice": {1, 1}, "late": {2}} {
		h := hub.New(func(context.Context, string, int64) ([]event.Envelope, error) {
			var events []event.Envelope
			for _, v := range versions {
				events = append(events, event.Envelope{Version: v})
			}
			return events, nil
		})
		l := h.Listen(t.Context(), "s", 0)
		_, more := <-l.Events()
		require.False(t, more, name)
		require.Equal(t, fault.Corrupt, fault.CodeOf(l.Err()), name)
		h.Close()
	}
}

func TestReadThatWaitsEndsWithTheHub(t *testing.T) {
	started := make(chan struct{})
	h := hub.New(func(ctx context.Context, _ string, _ int64) ([]event.Envelope, error) {
		close(started)
		<-ctx.Done()
		return nil, errors.New("stopped")
	})
	l := h.Listen(t.Context(), "s", 0)
	<-started
	h.Close()
	_, more := <-l.Events()
	require.False(t, more)
	require.NoError(t, l.Err())
}
