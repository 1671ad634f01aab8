package httpapi

import (
	"errors"
	"io"
	"mime"
	"net/http"
	"os"
	"time"

	"github.com/labstack/echo/v4"

	"belay/internal/assist"
	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/strictjson"
	"belay/internal/trial"
)

// Bounds of request bodies, in bytes. Chosen: many times the longest answer,
// and a session of some thousand entries.
const (
	maxBody   = 64 << 10
	maxImport = 8 << 20
)

// read takes in a body of at most limit bytes.
func read(c echo.Context, limit int64) ([]byte, error) {
	body, err := io.ReadAll(http.MaxBytesReader(c.Response(), c.Request().Body, limit))
	var tooLong *http.MaxBytesError
	if errors.As(err, &tooLong) {
		return nil, fault.Newf(fault.Limit, "Send less.", "The request is longer than %d KiB.", limit>>10)
	}
	if errors.Is(err, os.ErrDeadlineExceeded) {
		return nil, echo.NewHTTPError(http.StatusRequestTimeout, "The request did not arrive in time.")
	}
	if err != nil {
		return nil, fault.New(fault.Invalid, "The request could not be read.", "Send it again.").Because(err)
	}
	return body, nil
}

// jsonBody takes in a body that is said to be JSON.
func jsonBody(c echo.Context) ([]byte, error) {
	if media, _, _ := mime.ParseMediaType(c.Request().Header.Get("Content-Type")); media != "application/json" {
		return nil, echo.NewHTTPError(http.StatusUnsupportedMediaType, "Send JSON, with Content-Type: application/json.")
	}
	body, err := read(c, maxBody)
	if err != nil {
		return nil, err
	}
	return body, strictjson.Check(body)
}

// decode reads one JSON document into v, strictly.
func decode(c echo.Context, v any) error {
	body, err := jsonBody(c)
	if err != nil {
		return err
	}
	return strictjson.Decode(body, v)
}

func (s *Server) health(c echo.Context) error {
	h, err := s.config.Health(c.Request().Context())
	if err != nil {
		return err
	}
	h.Version, h.UptimeS = s.config.Version, time.Since(s.started).Seconds()
	return c.JSON(http.StatusOK, h)
}

func (s *Server) flows(c echo.Context) error {
	x, err := s.config.Assist.Flows(c.Request().Context())
	return reply(c, x, err)
}

func (s *Server) flow(c echo.Context) error {
	x, err := s.config.Assist.FlowInfo(c.Request().Context(), c.Param("name"))
	return reply(c, x, err)
}

func (s *Server) list(c echo.Context) error {
	x, err := s.config.Assist.List(c.Request().Context())
	return reply(c, x, err)
}

func (s *Server) start(c echo.Context) error {
	var body struct {
		Flow     string          `json:"flow"`
		Title    string          `json:"title"`
		Practice *event.Practice `json:"practice"`
		Other    bool            `json:"other_pc"`
	}
	if err := decode(c, &body); err != nil {
		return err
	}
	if body.Practice != nil && body.Practice.Variant == "" {
		body.Practice.Variant = "own"
	}
	if body.Flow == "" {
		body.Flow = "desktop"
	}
	id, err := s.config.Assist.Start(c.Request().Context(), assist.StartRequest{
		Flow: body.Flow, Title: body.Title, Practice: body.Practice, Elsewhere: body.Other,
	})
	if err != nil {
		return err
	}
	c.Response().Header().Set("Location", "/api/v1/sessions/"+id)
	v, err := s.config.Assist.View(c.Request().Context(), id)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, v)
}

func (s *Server) importSession(c echo.Context) error {
	body, err := read(c, maxImport)
	if err != nil {
		return err
	}
	id, err := s.config.Assist.Import(c.Request().Context(), body)
	if err != nil {
		return err
	}
	v, err := s.config.Assist.View(c.Request().Context(), id)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, v)
}

func (s *Server) view(c echo.Context) error {
	x, err := s.config.Assist.View(c.Request().Context(), c.Param("id"))
	return reply(c, x, err)
}

func (s *Server) rename(c echo.Context) error {
	var body struct {
		Title string `json:"title"`
	}
	if err := decode(c, &body); err != nil {
		return err
	}
	if err := s.config.Assist.Rename(c.Request().Context(), c.Param("id"), body.Title); err != nil {
		return err
	}
	return s.view(c)
}

func (s *Server) delete(c echo.Context) error {
	if err := s.config.Assist.Delete(c.Request().Context(), c.Param("id")); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

func (s *Server) prompt(c echo.Context) error {
	x, err := s.config.Assist.Prompt(c.Request().Context(), c.Param("id"))
	return reply(c, x, err)
}

func (s *Server) answer(c echo.Context) error {
	var body struct {
		Prompt string       `json:"prompt"`
		Action string       `json:"action"`
		Values trial.Values `json:"values"`
		// Confirm names fields whose odd values are meant as they are.
		Confirm []string `json:"confirm"`
	}
	if err := decode(c, &body); err != nil {
		return s.ranged(c, err)
	}
	ctx, id, key := c.Request().Context(), c.Param("id"), c.Request().Header.Get("Idempotency-Key")
	if body.Action == "simulate" {
		x, err := s.config.Assist.Simulate(ctx, id, body.Prompt, key)
		return reply(c, x, s.stale(c, err))
	}
	x, err := s.config.Assist.Answer(ctx, id, assist.AnswerRequest{Prompt: body.Prompt, Action: body.Action, Values: body.Values, Key: key, Confirm: body.Confirm})
	return reply(c, x, s.stale(c, err))
}

// stale adds the present prompt to a Conflict.
func (s *Server) stale(c echo.Context, err error) error {
	if !fault.Is(err, fault.Conflict) {
		return err
	}
	p, perr := s.config.Assist.Prompt(c.Request().Context(), c.Param("id"))
	if perr != nil {
		return err
	}
	return withPrompt{err, p}
}

func (s *Server) say(c echo.Context) error {
	var body struct {
		Text string `json:"text"`
	}
	if err := decode(c, &body); err != nil {
		return err
	}
	x, err := s.config.Assist.Say(c.Request().Context(), c.Param("id"), body.Text)
	return reply(c, x, err)
}

func (s *Server) undo(c echo.Context) error {
	x, err := s.config.Assist.Undo(c.Request().Context(), c.Param("id"), c.Request().Header.Get("Idempotency-Key"))
	return reply(c, x, err)
}

func (s *Server) history(c echo.Context) error {
	x, err := s.config.Assist.History(c.Request().Context(), c.Param("id"))
	return reply(c, x, err)
}

func (s *Server) trials(c echo.Context) error {
	x, err := s.config.Assist.Trials(c.Request().Context(), c.Param("id"))
	return reply(c, x, err)
}

func (s *Server) evidence(c echo.Context) error {
	x, err := s.config.Assist.Evidence(c.Request().Context(), c.Param("id"))
	return reply(c, x, err)
}

func (s *Server) sheet(c echo.Context) error {
	format := c.QueryParam("format")
	if format == "" {
		format = "html"
	}
	d, err := s.config.Assist.Sheet(c.Request().Context(), c.Param("id"), format)
	return document(c, d, err)
}

func (s *Server) export(c echo.Context) error {
	d, err := s.config.Assist.ExportSession(c.Request().Context(), c.Param("id"))
	return document(c, d, err)
}

func document(c echo.Context, d assist.Document, err error) error {
	if err != nil {
		return err
	}
	how := "attachment"
	if d.MediaType == "text/html; charset=utf-8" {
		how = "inline"
	}
	c.Response().Header().Set("Content-Disposition", mime.FormatMediaType(how, map[string]string{"filename": d.Name}))
	return c.Blob(http.StatusOK, d.MediaType, d.Body)
}

func reply(c echo.Context, x any, err error) error {
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, x)
}
