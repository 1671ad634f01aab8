package httpapi_test

import (
	"bytes"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/httpapi"
)

// cookie opens the one-time path and returns the page's cookie.
func (b *bench) cookie() *http.Cookie {
	b.t.Helper()
	r := b.request("GET", b.server.OpenPath(), nil)
	r.Header.Del("Authorization")
	got := b.do(r)
	require.Equal(b.t, http.StatusOK, got.Status, "%s", got.Body)
	set, err := http.ParseSetCookie(got.Header.Get("Set-Cookie"))
	require.NoError(b.t, err)
	return set
}

func TestOnlyTheTokenLetsProgramsIn(t *testing.T) {
	b := newBench(t)
	for _, header := range []string{"", "Bearer", "Bearer ", "Bearer wrong", token, "Bearer " + token + "x", "Basic " + token} {
		for _, path := range []string{"/api/v1/health", "/api/v1/sessions", "/api/v1/none", "/"} {
			r := b.request("GET", path, nil)
			r.Header.Set("Authorization", header)
			require.Equal(t, "denied", refused(t, http.StatusForbidden, b.do(r)).Code, "%q %s", header, path)
		}
	}
	require.Equal(t, http.StatusOK, b.call("GET", "/api/v1/health", nil).Status)

	for _, query := range []string{"?token=" + token, "?code=1", "?token"} {
		p := refused(t, http.StatusForbidden, b.call("GET", "/api/v1/health"+query, nil))
		require.Contains(t, p.Next, "Authorization")
	}
}

func TestA01ForeignHostIsRefused(t *testing.T) {
	b := newBench(t)
	own, err := url.Parse(b.http.URL)
	require.NoError(t, err)
	for _, host := range []string{"belay.example:" + own.Port(), "127.0.0.1", "127.0.0.1:1", "localhost.example:" + own.Port()} {
		r := b.request("GET", "/api/v1/health", nil)
		r.Host = host
		refused(t, http.StatusMisdirectedRequest, b.do(r))
	}
	for _, host := range []string{"localhost:", "127.0.0.1:", "[::1]:"} {
		r := b.request("GET", "/api/v1/health", nil)
		r.Host = host + own.Port()
		require.Equal(t, http.StatusOK, b.do(r).Status, host)
	}
}

func TestOpenPathWorksOnce(t *testing.T) {
	b := newBench(t)
	k := b.cookie()
	require.True(t, k.HttpOnly)
	require.Equal(t, http.SameSiteStrictMode, k.SameSite)
	require.Equal(t, "/", k.Path)
	require.NotContains(t, k.Value, token)

	r := b.request("GET", b.server.OpenPath(), nil)
	r.Header.Del("Authorization")
	again := b.do(r)
	refused(t, http.StatusNotFound, again)
	require.Empty(t, again.Header.Get("Set-Cookie"))

	r = b.request("GET", "/api/v1/health", nil)
	r.Header.Del("Authorization")
	r.AddCookie(k)
	require.Equal(t, http.StatusOK, b.do(r).Status)

	wrong := b.request("GET", "/api/v1/health", nil)
	wrong.Header.Del("Authorization")
	wrong.AddCookie(&http.Cookie{Name: k.Name, Value: strings.Repeat("0", len(k.Value))})
	refused(t, http.StatusForbidden, b.do(wrong))
}

func TestWrongOpenPathSetsNoCookie(t *testing.T) {
	b := newBench(t)
	got := b.call("GET", "/open/00000000000000000000000000000000", nil)
	refused(t, http.StatusNotFound, got)
	require.Empty(t, got.Header.Get("Set-Cookie"))
	b.cookie() // a wrong guess does not use the path up
}

func TestA05OtherPagesCannotUseTheCookie(t *testing.T) {
	b := newBench(t)
	k := b.cookie()
	own, err := url.Parse(b.http.URL)
	require.NoError(t, err)
	post := func(origin string) reply {
		r := b.request("POST", "/api/v1/sessions", object{"title": "From a page"})
		r.Header.Del("Authorization")
		r.AddCookie(k)
		if origin != "" {
			r.Header.Set("Origin", origin)
		}
		return b.do(r)
	}
	for _, origin := range []string{
		"", "null", "http://belay.example", "http://localhost", "https://" + own.Host, "http://127.0.0.1:1", "http://" + own.Host + ".example",
	} {
		require.Equal(t, "denied", refused(t, http.StatusForbidden, post(origin)).Code, "%q", origin)
	}
	require.Equal(t, "[]\n", string(b.call("GET", "/api/v1/sessions", nil).Body))
	require.Equal(t, http.StatusCreated, post(b.http.URL).Status)

	r := b.request("POST", "/api/v1/sessions", object{})
	r.Header.Set("Origin", "http://belay.example")
	refused(t, http.StatusForbidden, b.do(r)) // not with the token either
}

func TestBodiesAreReadStrictly(t *testing.T) {
	b := newBench(t)
	for name, body := range map[string]string{
		"unknown field": `{"title":"x","more":1}`, "second document": `{"title":"x"} {}`, "text behind": `{"title":"x"} trailing`,
		"bracket behind": `{"title":"x"}]`, "brace behind": `{"title":"x"}}`, "empty": ``, "cut off": `{"title":`,
		"wrong type": `{"title":1}`, "list": `[]`,
	} {
		p := refused(t, http.StatusUnprocessableEntity, b.call("POST", "/api/v1/sessions", []byte(body)))
		require.Equal(t, "invalid", p.Code, name)
	}
	for _, media := range []string{"", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data"} {
		r := b.request("POST", "/api/v1/sessions", []byte(`{}`))
		r.Header.Set("Content-Type", media)
		refused(t, http.StatusUnsupportedMediaType, b.do(r))
	}
	long := append([]byte(`{"title":"x"}`), bytes.Repeat([]byte(" "), 64<<10)...)
	require.Equal(t, "limit", refused(t, http.StatusRequestEntityTooLarge, b.call("POST", "/api/v1/sessions", long)).Code)
	require.Equal(t, "[]\n", string(b.call("GET", "/api/v1/sessions", nil).Body), "nothing was started")

	r := b.request("POST", "/api/v1/sessions", []byte("{}\n"))
	r.Header.Set("Content-Type", "application/json; charset=utf-8")
	require.Equal(t, http.StatusCreated, b.do(r).Status)
	fits := append([]byte(`{}`), bytes.Repeat([]byte(" "), 64<<10-2)...)
	require.Equal(t, http.StatusCreated, b.call("POST", "/api/v1/sessions", fits).Status)
}

func TestUnknownThings(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	for _, path := range []string{"/api/v1/sessions/none", "/api/v1/sessions/none/prompt", "/api/v1/flows/none", "/api/v1/none"} {
		require.Equal(t, "not_found", refused(t, http.StatusNotFound, b.call("GET", path, nil)).Code, path)
	}
	require.Equal(t, "not_found", refused(t, http.StatusNotFound,
		b.call("POST", "/api/v1/sessions/none/answers", object{"prompt": "p1", "action": "continue"})).Code)
	for _, path := range []string{session, session + "/prompt", "/api/v1/health", session + "/answers"} {
		refused(t, http.StatusMethodNotAllowed, b.call("PUT", path, object{}))
	}
	require.Equal(t, "DELETE, GET, PATCH", b.call("PUT", session, object{}).Header.Get("Allow"))
	refused(t, http.StatusUnprocessableEntity, b.call("GET", session+"/sheet?format=doc", nil))
	refused(t, http.StatusNotFound, b.call("POST", "/api/v1/sessions", object{"flow": "none"}))
	refused(t, http.StatusUnprocessableEntity, b.call("POST", "/api/v1/sessions", object{"practice": object{"seed": 1, "variant": "none"}}))
}

func TestEachReplyHasTheSecurityHeaders(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	foreign := b.request("GET", "/", nil)
	foreign.Host = "belay.example"
	unknown := b.request("GET", "/api/v1/health", nil)
	unknown.Header.Del("Authorization")
	for _, r := range []*http.Request{
		foreign, unknown, b.request("GET", "/", nil), b.request("GET", "/api/v1/health", nil), b.request("GET", "/none", nil),
		b.request("GET", "/api/v1/none", nil), b.request("PUT", session, object{}), b.request("GET", session+"/sheet", nil),
		b.request("POST", session+"/answers", []byte("{")), b.request("GET", "/open/none", nil), b.request("DELETE", session, nil),
	} {
		h := b.do(r).Header
		policy := h.Get("Content-Security-Policy")
		require.Contains(t, policy, "default-src 'none'", r.URL.Path)
		require.Contains(t, policy, "frame-ancestors 'none'", r.URL.Path)
		require.NotContains(t, policy, "unsafe", r.URL.Path)
		require.Equal(t, "nosniff", h.Get("X-Content-Type-Options"), r.URL.Path)
		require.Equal(t, "no-store", h.Get("Cache-Control"), r.URL.Path)
		require.Empty(t, h.Get("Access-Control-Allow-Origin"), r.URL.Path)
	}
}

func TestAddressNeedsAPort(t *testing.T) {
	_, err := httpapi.New(httpapi.Config{Token: token, Addr: "localhost"})
	require.Error(t, err)
}
