// Package httpapi serves Belay over HTTP on loopback: the API under /api/v1
// as api/openapi.yaml describes it, and the pages beside it.
//
// Handlers decode, call a use case and encode; they return errors, and one
// function turns those into problem documents.
package httpapi

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"github.com/labstack/echo/v4"

	"belay/api"
	"belay/internal/assist"
	"belay/internal/calc"
	"belay/internal/fault"
	"belay/internal/hub"
	"belay/internal/page"
	"belay/internal/pair"
)

// Config is what the server needs.
type Config struct {
	Assist  *assist.Assist
	Hub     *hub.Hub
	Token   string // for programs: Authorization: Bearer TOKEN
	Addr    string // host:port that is listened on
	Version string
	Health  func(context.Context) (Health, error) // asks the store
	Log     *slog.Logger
	Limits  Limits
	Pair    *pair.Desk // lets phones in; nil lets none in
}

// Health is the answer to GET /health.
type Health struct {
	Version       string   `json:"version"`
	SchemaVersion int      `json:"schema_version"`
	Integrity     string   `json:"integrity"` // "ok", or what is wrong
	Notices       []string `json:"notices"`   // what was found wrong with the data and done about it
	ReadBack      string   `json:"read_back"` // disk or memory: where the newest check of a step's end was read from
	UptimeS       float64  `json:"uptime_s"`
}

// Server is the HTTP side of Belay.
type Server struct {
	config  Config
	echo    *echo.Echo
	cookie  string        // value of the page's cookie
	secret  string        // of the one-time path
	opened  atomic.Bool   // the one-time path was used
	streams chan struct{} // holds one for each open stream
	started time.Time
}

// New returns a server that is ready to serve.
func New(c Config) (*Server, error) {
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	c.Limits = c.Limits.filled()
	if c.Pair == nil {
		c.Pair = pair.New(time.Now)
	}
	if _, _, err := net.SplitHostPort(c.Addr); err != nil {
		return nil, fault.Wrap("httpapi.New", err)
	}
	digest := sha256.Sum256([]byte("page cookie\n" + c.Token))
	var once [16]byte
	if _, err := rand.Read(once[:]); err != nil {
		return nil, fault.Wrap("httpapi.New", err)
	}
	s := &Server{
		config: c, echo: echo.New(), cookie: hex.EncodeToString(digest[:16]),
		secret: hex.EncodeToString(once[:]), started: time.Now(),
		streams: make(chan struct{}, c.Limits.Streams),
	}
	e := s.echo
	e.HideBanner, e.HidePort = true, true
	e.IPExtractor = echo.ExtractIPDirect()
	e.HTTPErrorHandler = s.problem
	e.Logger.SetOutput(records{c.Log})
	e.Use(s.recovered, s.headers, s.hosts, s.wire, s.admitted, s.origins)
	s.routes()
	if err := page.Register(e, c.Assist); err != nil {
		return nil, err
	}
	if err := page.RegisterPhones(e, c.Pair, s.admitPhone); err != nil {
		return nil, err
	}
	s.otherMethods()
	return s, nil
}

// Handler returns the handler of all requests.
func (s *Server) Handler() http.Handler { return s.lastResort(s.echo) }

// OpenPath is the one-time path that gives a browser its cookie.
func (s *Server) OpenPath() string { return "/open/" + s.secret }

func (s *Server) routes() {
	e := s.echo
	e.GET("/open/:secret", s.open)
	e.GET("/s/:id/sheet", s.sheet)
	v1 := e.Group("/api/v1")
	v1.GET("/health", s.health)
	v1.GET("/openapi.yaml", func(c echo.Context) error {
		return c.Blob(http.StatusOK, "application/yaml", api.OpenAPI)
	})
	v1.GET("/flows", s.flows)
	v1.GET("/flows/:name", s.flow)
	v1.GET("/sessions", s.list)
	v1.POST("/sessions", s.start)
	v1.POST("/sessions/import", s.importSession)
	v1.GET("/sessions/:id", s.view)
	v1.PATCH("/sessions/:id", s.rename)
	v1.DELETE("/sessions/:id", s.delete)
	v1.GET("/sessions/:id/prompt", s.prompt)
	v1.POST("/sessions/:id/answers", s.answer)
	v1.POST("/sessions/:id/say", s.say)
	v1.POST("/sessions/:id/undo", s.undo)
	v1.GET("/sessions/:id/history", s.history)
	v1.GET("/sessions/:id/stream", s.stream)
	v1.GET("/sessions/:id/trials", s.trials)
	v1.POST("/sessions/:id/trials", s.runTrial)
	v1.GET("/sessions/:id/trials/running", s.running)
	v1.DELETE("/sessions/:id/trials/running", s.stopTrial)
	v1.POST("/sessions/:id/trials/:n/log", s.attachLog)
	v1.GET("/sessions/:id/evidence", s.evidence)
	v1.GET("/compare", s.compare)
	v1.GET("/sessions/:id/outlook", s.outlook)
	v1.GET("/sessions/:id/card", s.card)
	v1.GET("/sessions/:id/charts/:file", s.chart)
	v1.GET("/sessions/:id/sheet", s.sheet)
	v1.GET("/sessions/:id/export", s.export)
	s.pairingRoutes(v1)
	for _, name := range calc.Names() {
		v1.POST("/calc/"+name, calculator(name))
	}
}

// otherMethods answers the methods that a path does not have with 405. The
// page's catch-all would hide that the path exists.
func (s *Server) otherMethods() {
	known := map[string][]string{}
	for _, r := range s.echo.Routes() {
		if !strings.HasSuffix(r.Path, "*") {
			known[r.Path] = append(known[r.Path], r.Method)
		}
	}
	for path, methods := range known {
		slices.Sort(methods)
		allow := strings.Join(methods, ", ")
		for _, other := range every {
			if slices.Contains(methods, other) {
				continue
			}
			s.echo.Add(other, path, func(c echo.Context) error {
				c.Response().Header().Set(echo.HeaderAllow, allow)
				return echo.ErrMethodNotAllowed
			}).Name = notAllowed
		}
	}
}

// notAllowed names the routes that only refuse a method.
const notAllowed = "method not allowed"

// open exchanges the one-time path for the page's cookie.
func (s *Server) open(c echo.Context) error {
	known := s.hasCookie(c.Request())
	if c.Param("secret") != s.secret || s.opened.Swap(true) && !known {
		return fault.New(fault.NotFound, "This address was used already, or is not Belay's.",
			"Stop Belay and start it again. It prints a new address.")
	}
	c.SetCookie(&http.Cookie{
		Name: s.cookieName(), Value: s.cookie, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode,
		MaxAge: int((180 * 24 * time.Hour).Seconds()), // chosen: as long as a re-check may lie ahead
	})
	// A redirect would be part of the navigation that came from elsewhere, and
	// a strict cookie is not sent then. A tiny page that leads on is.
	c.Response().Header().Set("Refresh", "0; url=/")
	return c.HTML(http.StatusOK, `<!doctype html><html lang="en"><title>Belay</title><link rel="icon" href="data:,"><p><a href="/">Open Belay</a></p></html>`)
}

func (s *Server) cookieName() string {
	_, port, _ := net.SplitHostPort(s.config.Addr) // New has checked it
	return "belay_" + port
}

func (s *Server) hasCookie(r *http.Request) bool {
	k, err := r.Cookie(s.cookieName())
	return err == nil && same(k.Value, s.cookie)
}
