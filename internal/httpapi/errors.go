package httpapi

import (
	"encoding/json"
	"errors"
	"html"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"belay/internal/fault"
)

// problem is an error as RFC 9457 writes it, with the fault's code and the
// next step for a person.
type problem struct {
	Type   string        `json:"type"`
	Title  string        `json:"title"`
	Status int           `json:"status"`
	Detail string        `json:"detail"`
	Code   fault.Code    `json:"code"`
	Next   string        `json:"next"`
	Errors []fault.Field `json:"errors,omitempty"`
	Prompt any           `json:"prompt,omitempty"` // the present prompt, with a stale answer
	// Instance names a failure of Belay's own, as its log does.
	Instance string `json:"instance,omitempty"`
}

// statuses give the HTTP status of a fault's code.
var statuses = map[fault.Code]int{
	fault.Invalid:     http.StatusUnprocessableEntity,
	fault.Conflict:    http.StatusConflict,
	fault.NotFound:    http.StatusNotFound,
	fault.Unsafe:      http.StatusUnprocessableEntity,
	fault.Limit:       http.StatusRequestEntityTooLarge,
	fault.Denied:      http.StatusForbidden,
	fault.Unavailable: http.StatusServiceUnavailable,
	fault.Corrupt:     http.StatusInternalServerError,
	fault.Internal:    http.StatusInternalServerError,
}

// titles name the kinds of fault.
var titles = map[fault.Code]string{
	fault.Invalid: "The input needs a correction", fault.Conflict: "The step has moved on", fault.NotFound: "Not found",
	fault.Unsafe: "Past a safety limit", fault.Limit: "Too large", fault.Denied: "Not allowed",
	fault.Unavailable: "Not available now", fault.Corrupt: "Stored data is damaged", fault.Internal: "A fault of Belay's own",
}

// withPrompt is a Conflict that carries the present prompt.
type withPrompt struct {
	error
	prompt any
}

func (w withPrompt) Unwrap() error { return w.error }

func problemOf(err error) problem {
	var h *echo.HTTPError
	if errors.As(err, &h) {
		detail, _ := h.Message.(string)
		p := problem{Status: h.Code, Title: http.StatusText(h.Code), Detail: detail, Code: fault.Invalid, Next: "Check the address and the method."}
		if h.Code == http.StatusNotFound {
			p.Code = fault.NotFound
		}
		p.Type = "about:blank"
		return p
	}
	var f *fault.Error
	if !errors.As(err, &f) {
		errors.As(fault.Wrap("httpapi", err), &f)
	}
	p := problem{
		Type: "urn:belay:problem:" + string(f.Code), Title: titles[f.Code], Status: statuses[f.Code],
		Detail: f.Msg, Code: f.Code, Next: f.Next, Errors: f.Fields,
	}
	var w withPrompt
	if errors.As(err, &w) {
		p.Prompt = w.prompt
	}
	return p
}

// problem answers a request with what went wrong: a document for programs, a
// page for people.
func (s *Server) problem(err error, c echo.Context) {
	p := problemOf(err)
	if p.Status >= http.StatusInternalServerError {
		p.Instance = "urn:belay:incident:" + incident(c)
		s.config.Log.Error("request failed", "incident", incident(c), "method", c.Request().Method, "path", c.Path(), "error", err.Error())
	}
	if c.Response().Committed {
		return
	}
	if !strings.HasPrefix(c.Request().URL.Path, "/api/") && strings.Contains(c.Request().Header.Get("Accept"), "text/html") {
		_ = c.HTML(p.Status, "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><title>"+html.EscapeString(p.Title)+"</title><h1>"+
			html.EscapeString(p.Title)+"</h1><p>"+html.EscapeString(p.Detail)+"</p><p>"+html.EscapeString(p.Next)+"</p><p>"+html.EscapeString(p.Instance)+"</p></html>")
		return
	}
	body, merr := json.Marshal(p)
	if merr != nil {
		body = []byte(`{"status":500}`)
	}
	_ = c.Blob(p.Status, "application/problem+json", body)
}
