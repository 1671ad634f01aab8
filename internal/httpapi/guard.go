package httpapi

import (
	"crypto/subtle"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"belay/internal/fault"
)

func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// policy lets the page use its own files and nothing else.
const policy = "default-src 'none'; script-src 'self'%s; style-src 'self'%s; img-src 'self' data:; connect-src 'self'; " +
	"base-uri 'none'; form-action 'self'; frame-ancestors 'none'; require-trusted-types-for 'script'"

// headers sets the security headers of every reply. The referrer policy is
// same-origin rather than no-referrer, because with the latter browsers send
// "Origin: null" with the page's own forms.
func (s *Server) headers(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		h := c.Response().Header()
		styles, scripts := blocks(c.Path())
		h.Set("Content-Security-Policy", fmt.Sprintf(policy, scripts, styles))
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		if !strings.HasPrefix(c.Request().URL.Path, "/static/") {
			h.Set("Cache-Control", "no-store")
		}
		return next(c)
	}
}

// names are the hosts that Belay answers to, with its port.
func (s *Server) names() []string {
	_, port, err := net.SplitHostPort(s.config.Addr)
	if err != nil {
		return nil
	}
	return []string{"localhost:" + port, "127.0.0.1:" + port, "[::1]:" + port}
}

// hosts refuses a request for another host: a foreign name that was pointed
// at this address.
func (s *Server) hosts(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if !slices.Contains(s.hostsFor(c.Request()), c.Request().Host) {
			return echo.NewHTTPError(http.StatusMisdirectedRequest, "This address is not Belay's.")
		}
		return next(c)
	}
}

// open paths need no token: they tell nothing of a session.
func public(path string) bool {
	return strings.HasPrefix(path, "/open/") || strings.HasPrefix(path, "/static/") ||
		path == "/api/v1/openapi.yaml" || path == "/favicon.ico"
}

// admitted lets in programs with the token and browsers with the cookie.
func (s *Server) admitted(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		if s.exposed(r) {
			s.config.Log.Warn("a secret came in an address", "method", r.Method)
			return fault.New(fault.Denied, "A secret does not belong in an address.", "Send it as Authorization: Bearer TOKEN.")
		}
		if !s.fromHere(r) {
			return s.phone(c, next)
		}
		if public(r.URL.Path) || s.hasToken(r) || s.hasCookie(r) {
			return next(c)
		}
		return fault.New(fault.Denied, "Belay does not know this browser or program.",
			"Open the address that Belay printed at its start. Programs send the token that \"belay token\" prints.")
	}
}

func (s *Server) hasToken(r *http.Request) bool {
	token, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	return ok && same(token, s.config.Token)
}

// exposed reports whether the address of a request holds a secret.
// Addresses are kept in histories and logs of others.
func (s *Server) exposed(r *http.Request) bool {
	for name, values := range r.URL.Query() {
		if name == "token" || name == "code" || slices.ContainsFunc(values, func(v string) bool { return same(v, s.config.Token) || same(v, s.cookie) }) {
			return true
		}
	}
	return false
}

// origins refuses what another page sent with the cookie of this one: any
// request that names a foreign origin, and a changing one that names none.
func (s *Server) origins(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		foreign := fault.New(fault.Denied, "This request came from another page.", "Use Belay's own page.")
		safe := r.Method == http.MethodGet || r.Method == http.MethodHead
		switch site := r.Header.Get("Sec-Fetch-Site"); {
		case safe && (site == "cross-site" || site == "same-site") && r.Header.Get("Sec-Fetch-Mode") != "navigate":
			return foreign
		case len(r.Header.Values("Origin")) > 0:
		case safe, s.hasToken(r):
			return next(c)
		}
		u, err := url.Parse(r.Header.Get("Origin"))
		if err != nil || u.Scheme != "http" || !slices.Contains(s.hostsFor(r), u.Host) {
			return foreign
		}
		return next(c)
	}
}
