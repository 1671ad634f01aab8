// Package hub hands out committed events to listeners: what a session has
// after a listener's cursor, then each new event, in order, none missing and
// none twice. It keeps no events; a listener that is told of news reads them
// from the log itself, so that a slow one holds up nobody.
package hub

import (
	"context"
	"sync"
	"sync/atomic"

	"belay/internal/event"
	"belay/internal/fault"
)

// Read returns the committed events of a session that follow version after,
// in order. It is called from many goroutines.
type Read func(ctx context.Context, session string, after int64) ([]event.Envelope, error)

// Hub knows who listens to which session. It may be used from many
// goroutines.
type Hub struct {
	read    Read
	ctx     context.Context // ends with Close
	stop    context.CancelFunc
	running sync.WaitGroup

	mu        sync.Mutex
	closed    bool
	listeners map[string]map[*Listener]struct{} // by session
}

// New makes a hub over a log.
func New(read Read) *Hub {
	ctx, stop := context.WithCancel(context.Background())
	return &Hub{read: read, ctx: ctx, stop: stop, listeners: map[string]map[*Listener]struct{}{}}
}

// Listener is one reader of one session.
type Listener struct {
	session string
	events  chan event.Envelope
	wake    chan struct{} // holds one: there may be news
	cursor  atomic.Int64  // version of the newest event that was read
	err     error         // written before events is closed
}

// Events gives the events. It is closed when the context of Listen ends, when
// the hub closes, or after an error, which Err then tells.
func (l *Listener) Events() <-chan event.Envelope { return l.events }

// Err tells, once Events is closed, the fault that ended it: that of the
// hub's Read, or Corrupt when the log left out an event. It is nil after an
// ended context or a closed hub.
func (l *Listener) Err() error { return l.err }

// Listen starts to hand out the events of a session that follow version
// after. The listener ends with ctx; a closed hub gives one that has ended.
func (h *Hub) Listen(ctx context.Context, session string, after int64) *Listener {
	l := &Listener{session: session, events: make(chan event.Envelope), wake: make(chan struct{}, 1)}
	l.cursor.Store(after)
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed {
		close(l.events)
		return l
	}
	if h.listeners[session] == nil {
		h.listeners[session] = map[*Listener]struct{}{}
	}
	h.listeners[session][l] = struct{}{}
	h.running.Add(1)
	go h.serve(ctx, l)
	return l
}

// serve runs one listener to its end.
func (h *Hub) serve(ctx context.Context, l *Listener) {
	defer h.running.Done()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer context.AfterFunc(h.ctx, cancel)()
	err := h.follow(ctx, l)
	if ctx.Err() == nil {
		l.err = fault.Wrap("hub.Listen", err)
	}
	h.forget(l)
	close(l.events)
}

// follow hands out events until ctx ends or something fails.
func (h *Hub) follow(ctx context.Context, l *Listener) error {
	for {
		after := l.cursor.Load()
		events, err := h.read(ctx, l.session, after)
		if err != nil {
			return err
		}
		for _, e := range events {
			if after++; e.Version != after {
				return fault.Newf(fault.Corrupt, "Load the page again.", "Entry %d of this session is not there.", after)
			}
		}
		l.cursor.Store(after)
		for _, e := range events {
			select {
			case l.events <- e:
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		select {
		case <-l.wake:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (h *Hub) forget(l *Listener) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.listeners[l.session], l)
	if len(h.listeners[l.session]) == 0 {
		delete(h.listeners, l.session)
	}
}

// Notify tells the listeners of a session that its log now reaches version.
// Call it after the commit. It never waits for a listener.
func (h *Hub) Notify(session string, version int64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for l := range h.listeners[session] {
		if l.cursor.Load() >= version {
			continue
		}
		select {
		case l.wake <- struct{}{}:
		default: // it is to wake already
		}
	}
}

// Close ends all listeners and waits until their goroutines are gone.
func (h *Hub) Close() {
	h.mu.Lock()
	h.closed = true
	h.mu.Unlock()
	h.stop()
	h.running.Wait()
}
