package httpapi

import (
	"fmt"
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"belay/internal/fault"
)

// errFull refuses a stream too many.
var errFull = fault.New(fault.Unavailable, "Too many pages listen to Belay at once.", "Close tabs that you do not need, and try again.")

// retryAfter is when to try again, in seconds. Chosen: about as long as it
// takes to close a tab.
const retryAfter = "5"

// stream sends the versions of a session as they are committed. An event's id
// is the version; a reader that reconnects names its last one.
func (s *Server) stream(c echo.Context) error {
	select {
	case s.streams <- struct{}{}:
		defer func() { <-s.streams }()
	default:
		c.Response().Header().Set(echo.HeaderRetryAfter, retryAfter)
		return errFull
	}
	ctx, id := c.Request().Context(), c.Param("id")
	v, err := s.config.Assist.View(ctx, id)
	if err != nil {
		return err
	}
	after := v.Version
	if last := c.Request().Header.Get("Last-Event-ID"); last != "" {
		if after, err = strconv.ParseInt(last, 10, 64); err != nil || after < 0 || after > v.Version {
			return fault.New(fault.Invalid, "Last-Event-ID is not a version of this session.", "Connect without it.")
		}
	}
	w := c.Response()
	w.Header().Set("Content-Type", "text/event-stream")
	w.WriteHeader(http.StatusOK)
	control := http.NewResponseController(w)
	send := func(text string) error {
		if err := control.SetWriteDeadline(time.Now().Add(s.config.Limits.Write)); err != nil {
			return err
		}
		if _, err := w.Write([]byte(text)); err != nil {
			return err
		}
		return control.Flush()
	}
	if send("retry: 2000\n\n") != nil {
		return nil // the reader is gone
	}
	listener := s.config.Hub.Listen(ctx, id, after)
	beat := time.NewTicker(s.config.Limits.KeepAlive)
	defer beat.Stop()
	for {
		var text string
		select {
		case e, ok := <-listener.Events():
			if !ok {
				return nil
			}
			text = fmt.Sprintf("id: %d\nevent: version\ndata: {\"version\":%d,\"kind\":%q}\n\n", e.Version, e.Version, e.Kind)
		case <-beat.C:
			text = ": still here\n\n"
		}
		if send(text) != nil {
			return nil
		}
	}
}
