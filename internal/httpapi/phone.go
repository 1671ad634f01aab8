package httpapi

import (
	"context"
	"net"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"belay/internal/fault"
	"belay/internal/pair"
)

// phoneMay lists all that a phone may do: read steps, enter results, confirm
// cautions, and stop a trial. Everything else is refused, also what is added
// later.
var phoneMay = map[string][]string{
	http.MethodGet: {
		"/", "/s/:id", "/s/:id/glossary", "/s/:id/history", "/s/:id/ladder", "/s/:id/evidence", "/s/:id/card", "/s/:id/card.svg",
		"/s/:id/charts", "/s/:id/charts/:file", "/api/v1/health", "/api/v1/sessions", "/api/v1/sessions/:id", "/api/v1/sessions/:id/prompt",
		"/api/v1/sessions/:id/history", "/api/v1/sessions/:id/stream", "/api/v1/sessions/:id/trials", "/api/v1/sessions/:id/trials/running",
		"/api/v1/sessions/:id/evidence", "/api/v1/sessions/:id/outlook", "/api/v1/sessions/:id/card", "/api/v1/sessions/:id/charts/:file",
	},
	http.MethodPost: {
		"/s/:id/answer", "/s/:id/say", "/s/:id/undo", "/s/:id/trial/stop",
		"/api/v1/sessions/:id/answers", "/api/v1/sessions/:id/say", "/api/v1/sessions/:id/undo",
	},
	http.MethodDelete: {"/api/v1/sessions/:id/trials/running"},
}

// fromHere reports whether a request came in at the address of this PC only.
// One whose way in is not known did not.
func (s *Server) fromHere(r *http.Request) bool {
	at, ok := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	return ok && at.String() == s.config.Addr
}

// hostsFor are the hosts that a request may name, by the way it came in.
func (s *Server) hostsFor(r *http.Request) []string {
	if s.fromHere(r) {
		return s.names()
	}
	if a := s.config.Pair.Address(); a != "" {
		return []string{a}
	}
	return nil
}

func (s *Server) phoneCookie() string { return s.cookieName() + "_phone" }

// admitPhone gives a phone that was let in its cookie.
func (s *Server) admitPhone(c echo.Context, session string) {
	c.SetCookie(&http.Cookie{
		Name: s.phoneCookie(), Value: session, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode,
		MaxAge: int(pair.SessionLife.Seconds()),
	})
}

// phone lets in phones, and lets them do what phones may. The token and the
// cookie of this PC's own browser are worth nothing here.
func (s *Server) phone(c echo.Context, next echo.HandlerFunc) error {
	r := c.Request()
	if strings.HasPrefix(r.URL.Path, "/static/") || c.Path() == "/pair" {
		return next(c)
	}
	k, err := r.Cookie(s.phoneCookie())
	if err != nil {
		return s.notPaired(c)
	}
	session, ok := s.config.Pair.Known(k.Value)
	if !ok {
		return s.notPaired(c)
	}
	if !slices.Contains(phoneMay[r.Method], c.Path()) {
		return fault.New(fault.Denied, "A phone may not do this.", "Do it on the PC.")
	}
	ctx, cancel := context.WithCancel(r.Context()) // a stream ends with the session
	defer cancel()
	defer context.AfterFunc(session, cancel)()
	c.SetRequest(r.WithContext(ctx))
	return next(c)
}

func (s *Server) notPaired(c echo.Context) error {
	if c.Request().Method == http.MethodGet && c.Path() == "/" {
		return c.Redirect(http.StatusSeeOther, "/pair")
	}
	return fault.New(fault.Denied, "Belay does not know this phone.", "Open /pair at this address, and type the code that the PC shows.")
}

// pairing is how things stand with phones.
type pairing struct {
	Address string       `json:"address"` // "" when no phone may come in
	Until   *time.Time   `json:"until"`
	Code    *pairingCode `json:"code"`
	Asking  []guest      `json:"asking"`
	Devices []guest      `json:"devices"`
	Notice  string       `json:"notice"`
}

type pairingCode struct {
	Text  string    `json:"text"`
	Token string    `json:"token"`
	Until time.Time `json:"until"`
}

type guest struct {
	ID      string    `json:"id"`
	Name    string    `json:"name"`
	Address string    `json:"address"`
	Until   time.Time `json:"until"`
}

func (s *Server) pairing(c echo.Context) error {
	v := s.config.Pair.View()
	p := pairing{Address: v.Address, Asking: []guest{}, Devices: []guest{}, Notice: v.Notice}
	if v.Address != "" {
		p.Until = &v.Until
	}
	if v.Code != nil {
		p.Code = &pairingCode{v.Code.Text, v.Code.Token, v.Code.Until}
	}
	for _, a := range v.Asking {
		p.Asking = append(p.Asking, guest(a))
	}
	for _, d := range v.Devices {
		p.Devices = append(p.Devices, guest(d))
	}
	return c.JSON(http.StatusOK, p)
}

func (s *Server) pairingCode(c echo.Context) error {
	if err := s.config.Pair.Show(); err != nil {
		return err
	}
	return s.pairing(c)
}

func (s *Server) pairingDecide(c echo.Context) error {
	var body struct {
		In bool `json:"in"`
	}
	if err := decode(c, &body); err != nil {
		return err
	}
	if err := s.config.Pair.Decide(c.Param("id"), body.In); err != nil {
		return err
	}
	return s.pairing(c)
}

func (s *Server) pairingRemove(c echo.Context) error {
	if err := s.config.Pair.Remove(c.Param("id")); err != nil {
		return err
	}
	return s.pairing(c)
}

func (s *Server) pairingOff(c echo.Context) error {
	s.config.Pair.Close()
	return s.pairing(c)
}

// pairingRoutes adds the calls of pairing.
func (s *Server) pairingRoutes(v1 *echo.Group) {
	v1.GET("/pairing", s.pairing)
	v1.DELETE("/pairing", s.pairingOff)
	v1.POST("/pairing/code", s.pairingCode)
	v1.POST("/pairing/asking/:id", s.pairingDecide)
	v1.DELETE("/pairing/devices/:id", s.pairingRemove)
}
