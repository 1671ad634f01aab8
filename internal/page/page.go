// Package page serves Belay to a browser: the list of sessions, the session
// page with its present step, the conversation, the evidence and the
// glossary. Everything works without scripts; scripts make it quicker.
//
// No rule of the job lives here. The package turns what the use cases return
// into view models, and forms into requests.
package page

import (
	"context"
	"net/http"

	"github.com/labstack/echo/v4"

	"belay/internal/assist"
	"belay/internal/card"
	"belay/internal/chart"
	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/session"
	"belay/internal/trial"
	"belay/web"
)

// Guide is what the pages ask of the use cases. Its methods are safe for
// concurrent use and return faults; slices belong to the caller.
type Guide interface {
	Flows(ctx context.Context) ([]assist.FlowInfo, error)
	List(ctx context.Context) ([]assist.Summary, error)
	Start(ctx context.Context, req assist.StartRequest) (id string, err error)
	View(ctx context.Context, id string) (session.View, error)
	Prompt(ctx context.Context, id string) (session.Prompt, error)
	History(ctx context.Context, id string) ([]session.Entry, error)
	Trials(ctx context.Context, id string) ([]trial.Trial, error)
	// AnswerForm returns an Invalid fault with Fields for a bad answer and a
	// Conflict fault for an answer to a prompt that has passed.
	AnswerForm(ctx context.Context, id string, req assist.FormRequest) (assist.Result, error)
	// Simulate lets the simulated PC of a practice session answer the prompt.
	Simulate(ctx context.Context, id, prompt, key string) (assist.Result, error)
	Undo(ctx context.Context, id, key string) (assist.Result, error)
	Rename(ctx context.Context, id, title string) error
	Delete(ctx context.Context, id string) error
	Say(ctx context.Context, id, text string) (assist.Reply, error)
	Glossary(ctx context.Context, id string) ([]flow.Term, error)
	LogKeeper
	Charts(ctx context.Context, id string) ([]chart.Chart, error)
	Chart(ctx context.Context, id, name string) (assist.Document, error)
	// Notices are what a person should know of the data.
	Notices() []*fault.Error
	Card(ctx context.Context, id string) (card.Data, error)
	Bench
	Outlook(ctx context.Context, id string) (session.Outlook, error)
	// Compare returns an Invalid fault for less than two sessions or too many.
	Compare(ctx context.Context, ids []string) (assist.Comparison, error)
}

// pages holds what the handlers share. It is safe for concurrent use.
type pages struct {
	guide   Guide
	render  *renderer
	replies *memory[assist.Reply] // answers to free text, shown after the redirect
	starts  *memory[string]       // session made for a form's key
}

// Register adds the pages and their static files to e. It fails only when an
// embedded file is broken.
func Register(e *echo.Echo, g Guide) error {
	files := web.Files()
	static, err := newAssets(files)
	if err != nil {
		return err
	}
	render, err := newRenderer(files, static.prefix)
	if err != nil {
		return err
	}
	p := &pages{guide: g, render: render, replies: newMemory[assist.Reply](), starts: newMemory[string]()}

	get := func(path string, h echo.HandlerFunc) { e.GET(path, p.guarded(h)) }
	post := func(path string, h echo.HandlerFunc) { e.POST(path, p.guarded(limited(h))) }
	get("/", p.list)
	post("/sessions", p.start)
	get("/s/:id", p.session)
	get("/s/:id/delete", p.confirmDelete)
	get("/s/:id/glossary", p.glossary)
	get("/s/:id/history", p.part("history"))
	get("/s/:id/ladder", p.part("ladder"))
	get("/s/:id/evidence", p.part("evidence"))
	get("/compare", p.compare)
	get("/s/:id/card", p.card)
	get("/s/:id/card.svg", p.cardCode)
	get("/s/:id/charts", p.charts)
	get("/s/:id/charts/:file", p.chart)
	post("/s/:id/answer", p.answer)
	post("/s/:id/simulate", p.simulate)
	post("/s/:id/trial", p.runTrial)
	post("/s/:id/trial/stop", p.stopTrial)
	post("/s/:id/undo", p.undo)
	post("/s/:id/say", p.say)
	post("/s/:id/fill", p.fill)
	post("/s/:id/rename", p.rename)
	post("/s/:id/delete", p.delete)
	p.registerLogs(e)
	get(static.prefix+"*", static.serve)
	e.RouteNotFound("/*", p.nothingHere)
	return nil
}

// maxForm bounds the body of a form, in bytes. Chosen: sixteen times the
// longest form of the flow.
const maxForm = 64 << 10

// limited refuses the rest of a body that is longer than any form.
func limited(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		r.Body = http.MaxBytesReader(c.Response(), r.Body, maxForm)
		if err := r.ParseForm(); err != nil {
			return badForm(err)
		}
		return next(c)
	}
}
