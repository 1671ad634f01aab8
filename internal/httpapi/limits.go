package httpapi

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"
)

// Limits bound what clients can make the server hold. A zero field takes the
// value of DefaultLimits.
type Limits struct {
	Header      time.Duration // from the connection to the end of a request's headers
	Read        time.Duration // to the end of a request's body
	Idle        time.Duration // between requests of one connection
	HeaderBytes int
	Connections int           // open at once
	Streams     int           // of events, open at once
	Write       time.Duration // for one message of a stream; replies have no limit of their own
	KeepAlive   time.Duration // between messages of a silent stream
}

// DefaultLimits are generous for one person with a few browsers. Chosen, but
// for Streams: browsers open at most 6 connections to one host over HTTP/1.1,
// so it lets two of them fill up and leaves others room.
func DefaultLimits() Limits {
	return Limits{
		Header: 5 * time.Second, Read: 15 * time.Second, Idle: 60 * time.Second, HeaderBytes: 16 << 10,
		Connections: 64, Streams: 16, Write: 10 * time.Second, KeepAlive: 15 * time.Second,
	}
}

func or[T comparable](given, usual T) T {
	var zero T
	if given == zero {
		return usual
	}
	return given
}

// filled returns l with the defaults in place of zeros.
func (l Limits) filled() Limits {
	d := DefaultLimits()
	return Limits{
		Header: or(l.Header, d.Header), Read: or(l.Read, d.Read), Idle: or(l.Idle, d.Idle),
		HeaderBytes: or(l.HeaderBytes, d.HeaderBytes), Connections: or(l.Connections, d.Connections),
		Streams: or(l.Streams, d.Streams), Write: or(l.Write, d.Write), KeepAlive: or(l.KeepAlive, d.KeepAlive),
	}
}

// HTTP returns the server with all limits in place. There is no limit on
// writing, which streams would run into; each of their messages has its own.
func (s *Server) HTTP() *http.Server {
	l := s.config.Limits
	d := &door{most: l.Connections, open: map[net.Conn]*visitor{}}
	return &http.Server{
		Handler: d.inside(s.Handler()), ReadHeaderTimeout: l.Header, ReadTimeout: l.Read, IdleTimeout: l.Idle,
		MaxHeaderBytes: l.HeaderBytes, ErrorLog: slog.NewLogLogger(s.config.Log.Handler(), slog.LevelWarn),
		ConnContext: d.enter, ConnState: d.change,
	}
}

// door counts connections. At the limit, a new one takes the place of the
// oldest that no request is being answered on: idle, or with headers still to
// come. So half-open connections cannot keep a person out.
type door struct {
	most int
	mu   sync.Mutex
	open map[net.Conn]*visitor
	last uint64
}

// visitor is one connection.
type visitor struct {
	conn   net.Conn
	number uint64
	busy   bool
}

type visitorKey struct{}

func (d *door) enter(ctx context.Context, conn net.Conn) context.Context {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.last++
	v := &visitor{conn: conn, number: d.last}
	d.open[conn] = v
	if len(d.open) > d.most {
		out := v
		for _, other := range d.open {
			if !other.busy && other.number < out.number {
				out = other
			}
		}
		delete(d.open, out.conn)
		_ = out.conn.Close() // the server notices and tidies up
	}
	return context.WithValue(ctx, visitorKey{}, v)
}

func (d *door) change(conn net.Conn, state http.ConnState) {
	if state == http.StateClosed || state == http.StateHijacked {
		d.mu.Lock()
		defer d.mu.Unlock()
		delete(d.open, conn)
	}
}

// inside marks connections while a request is being answered on them.
func (d *door) inside(next http.Handler) http.Handler {
	mark := func(r *http.Request, busy bool) {
		if v, ok := r.Context().Value(visitorKey{}).(*visitor); ok {
			d.mu.Lock()
			defer d.mu.Unlock()
			v.busy = busy
		}
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		mark(r, true)
		defer mark(r, false)
		next.ServeHTTP(w, r)
	})
}
