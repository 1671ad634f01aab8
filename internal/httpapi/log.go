package httpapi

import (
	"errors"
	"io"
	"mime"
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"belay/internal/assist"
	"belay/internal/fault"
	"belay/internal/sensorlog"
	"belay/internal/strictjson"
)

// logTimeout is how long a log may take to arrive and be read. Chosen: the
// largest one on a slow, busy machine.
const logTimeout = 5 * time.Minute

// attachLog takes a log of readings, as the body itself or as the part "file"
// of a form, and gives its readings to a trial.
func (s *Server) attachLog(c echo.Context) error {
	n, err := strconv.Atoi(c.Param("n"))
	if err != nil {
		return fault.Newf(fault.NotFound, "List the trials and use the number of one of those.", "There is no trial %q.", c.Param("n"))
	}
	r := c.Request()
	req := assist.LogRequest{N: n, Name: c.QueryParam("name"), Key: r.Header.Get("Idempotency-Key")}
	switch v := c.QueryParam("confirm"); v {
	case "", "false":
	case "true":
		req.Guess = true
	default:
		return fault.New(fault.Invalid, "confirm is true or false.", "Leave it out, or say true.")
	}
	if text := c.QueryParam("columns"); text != "" {
		req.Columns = &sensorlog.Mapping{}
		if err := strictjson.Decode([]byte(text), req.Columns); err != nil {
			return err
		}
	}
	// The server's limit on reading is for small bodies. A connection that
	// cannot be given more time keeps its own.
	_ = http.NewResponseController(c.Response()).SetReadDeadline(time.Now().Add(logTimeout))
	if req.Body, err = logBody(r, &req.Name); err != nil {
		return err
	}
	x, err := s.config.Assist.AttachLog(r.Context(), c.Param("id"), req)
	return reply(c, x, err)
}

// logBody returns the log in a request, and its file name if it has one.
func logBody(r *http.Request, name *string) (io.Reader, error) {
	media, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	switch media {
	case "text/csv", "text/plain", "text/tab-separated-values", "application/octet-stream":
		return r.Body, nil
	case "multipart/form-data":
	default:
		return nil, echo.NewHTTPError(http.StatusUnsupportedMediaType, "Send the log as text/csv, or as the part \"file\" of a form.")
	}
	parts, err := r.MultipartReader()
	if err != nil {
		return nil, fault.New(fault.Invalid, "The form did not arrive whole.", "Send it again.").Because(err)
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return nil, fault.New(fault.Invalid, "The form holds no file.", "Send the log as the part \"file\".")
		}
		if err != nil {
			return nil, fault.New(fault.Invalid, "The form did not arrive whole.", "Send it again.").Because(err)
		}
		if part.FormName() == "file" {
			if *name == "" {
				*name = part.FileName()
			}
			return part, nil
		}
	}
}
