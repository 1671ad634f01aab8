package httpapi

import (
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"runtime/debug"
	"strings"

	"github.com/labstack/echo/v4"

	"belay/internal/fault"
)

// incidentKey holds the number of a request in its context. A person reads it
// when the request failed by Belay's own fault, and finds it in the log.
const incidentKey = "incident"

// incident returns the number of a request.
func incident(c echo.Context) string {
	id, ok := c.Get(incidentKey).(string)
	if !ok {
		id = newIncident()
		c.Set(incidentKey, id)
	}
	return id
}

func newIncident() string {
	var b [4]byte
	_, _ = rand.Read(b[:]) // never fails since Go 1.24
	return hex.EncodeToString(b[:])
}

// recovered turns a panic into an internal fault; the server lives on.
func (s *Server) recovered(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) (err error) {
		defer func() {
			if r := recover(); r != nil {
				if r == http.ErrAbortHandler {
					panic(r)
				}
				s.config.Log.Error("panic in a handler", "incident", incident(c), "path", c.Path(), "panic", fmt.Sprint(r), "stack", string(debug.Stack()))
				err = fault.Wrap("httpapi", fmt.Errorf("panic: %v", r))
			}
		}()
		return next(c)
	}
}

// lastResort answers when even the way errors are answered panics. A reply
// that has begun is cut off, so that half of it does not pass for all.
func (s *Server) lastResort(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		watched := &begun{ResponseWriter: w}
		defer func() {
			p := recover()
			if p == nil {
				return
			}
			if p == http.ErrAbortHandler {
				panic(p)
			}
			id := newIncident()
			s.config.Log.Error("panic outside the handlers", "incident", id, "method", r.Method, "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
			if watched.yes {
				panic(http.ErrAbortHandler)
			}
			h := w.Header()
			h.Set("Content-Type", "text/plain; charset=utf-8")
			h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
			h.Set("X-Content-Type-Options", "nosniff")
			h.Set("Cache-Control", "no-store")
			w.WriteHeader(http.StatusInternalServerError)
			_, _ = fmt.Fprintf(w, "Something went wrong inside Belay. Nothing that you saved is lost. Restart Belay if it happens again. Its number is %s.\n", id)
		}()
		next.ServeHTTP(watched, r)
	})
}

// begun notes whether a reply has begun.
type begun struct {
	http.ResponseWriter
	yes bool
}

// WriteHeader begins the reply.
func (b *begun) WriteHeader(status int) {
	b.yes = true
	b.ResponseWriter.WriteHeader(status)
}

// Write begins or continues the reply.
func (b *begun) Write(p []byte) (int, error) {
	b.yes = true
	return b.ResponseWriter.Write(p)
}

// Unwrap lets deadlines and flushing through.
func (b *begun) Unwrap() http.ResponseWriter { return b.ResponseWriter }

// records turns what the router's own logger writes into records of ours.
type records struct{ log *slog.Logger }

var _ io.Writer = records{}

// Write logs one record.
func (r records) Write(p []byte) (int, error) {
	r.log.Error("page failed", "record", strings.TrimSpace(string(p)))
	return len(p), nil
}
