package httpapi_test

import (
	"bytes"
	"context"
	"io"
	"net"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/httpapi"
)

// network is a bench with a way in for phones. Its address is a loopback one,
// so that nothing leaves this PC.
type network struct {
	*bench
	base string
}

func newNetwork(t *testing.T) *network {
	t.Helper()
	b := newBench(t)
	_, port, err := net.SplitHostPort(b.http.Listener.Addr().String())
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.2:"+port)
	if err != nil {
		t.Skip("this PC has no second loopback address:", err)
	}
	served := make(chan struct{})
	go func() {
		defer close(served)
		_ = b.http.Config.Serve(l) // ends with the listener
	}()
	t.Cleanup(func() { _ = l.Close(); <-served })
	t.Cleanup(b.desk.Close)
	b.desk.Open(l.Addr().String())
	return &network{b, "http://" + l.Addr().String()}
}

// phone is a browser in the network.
type phone struct {
	n       *network
	cookies map[string]string
}

func (n *network) phone() *phone { return &phone{n, map[string]string{}} }

// ask sends a request as the phone's browser does; a form when it has one.
func (p *phone) ask(method, path string, form url.Values, header ...string) reply {
	p.n.t.Helper()
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r, err := http.NewRequestWithContext(p.n.t.Context(), method, p.n.base+path, body)
	require.NoError(p.n.t, err)
	r.Header.Set("Origin", p.n.base)
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for name, value := range p.cookies {
		r.AddCookie(&http.Cookie{Name: name, Value: value})
	}
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	if host := r.Header.Get("Host"); host != "" {
		r.Host = host
	}
	transport := &http.Transport{DisableKeepAlives: true}
	res, err := transport.RoundTrip(r)
	require.NoError(p.n.t, err)
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	require.NoError(p.n.t, err)
	for _, k := range res.Cookies() {
		p.cookies[k.Name] = k.Value
		if k.MaxAge < 0 {
			delete(p.cookies, k.Name)
		}
	}
	return reply{res.StatusCode, res.Header, text}
}

type pairingView struct {
	Address, Notice string
	Code            *struct{ Text, Token string }
	Asking, Devices []struct{ ID, Name, Address string }
}

func (n *network) pairing(method, path string, body any) pairingView {
	n.t.Helper()
	return into[pairingView](n.t, http.StatusOK, n.call(method, "/api/v1/pairing"+path, body))
}

// paired lets a phone in.
func (n *network) paired() *phone {
	n.t.Helper()
	p := n.phone()
	code := n.pairing("POST", "/code", nil).Code
	got := p.ask("POST", "/pair", url.Values{"code": {code.Text}, "name": {"My phone"}})
	require.Equal(n.t, http.StatusSeeOther, got.Status, "%s", got.Body)
	require.Contains(n.t, string(p.ask("GET", "/pair", nil).Body), "say yes on the PC")
	require.Equal(n.t, http.StatusForbidden, p.ask("GET", "/api/v1/sessions", nil).Status, "not before the PC has said yes")
	view := n.pairing("GET", "", nil)
	require.Len(n.t, view.Asking, 1)
	require.Equal(n.t, "My phone", view.Asking[0].Name)
	require.Equal(n.t, "127.0.0.1", view.Asking[0].Address)
	n.pairing("POST", "/asking/"+view.Asking[0].ID, object{"in": true})
	got = p.ask("GET", "/pair", nil)
	require.Equal(n.t, http.StatusSeeOther, got.Status)
	require.Len(n.t, got.Header.Values("Set-Cookie"), 2)
	for _, set := range got.Header.Values("Set-Cookie") {
		require.Contains(n.t, set, "HttpOnly")
		require.Contains(n.t, set, "SameSite=Strict")
	}
	return p
}

func TestAPhoneGoesAlong(t *testing.T) {
	n := newNetwork(t)
	session := n.practice()
	id := strings.TrimPrefix(session, "/api/v1/sessions/")
	p := n.paired()
	require.Equal(t, http.StatusOK, p.ask("GET", "/", nil).Status)
	page := p.ask("GET", "/s/"+id, nil)
	require.Equal(t, http.StatusOK, page.Status)
	prompt := n.prompt(session)
	key := regexp.MustCompile(`name="key" value="([0-9a-f]+)"`).FindSubmatch(page.Body)
	require.NotNil(t, key)
	got := p.ask("POST", "/s/"+id+"/answer", url.Values{"prompt": {prompt.ID}, "action": {"continue"}, "key": {string(key[1])}})
	require.Equal(t, http.StatusSeeOther, got.Status, "%s", got.Body)
	require.NotEqual(t, prompt.ID, n.prompt(session).ID)
	require.Equal(t, http.StatusOK, p.ask("GET", "/s/"+id+"/card", nil).Status)
}

func TestA10GuessesOverTheWire(t *testing.T) {
	n := newNetwork(t)
	p := n.phone()
	code := n.pairing("POST", "/code", nil).Code
	guess := url.Values{"code": {"ZZZZ-ZZZZ"}}
	for range 5 {
		require.Equal(t, http.StatusForbidden, p.ask("POST", "/pair", guess).Status)
	}
	require.Equal(t, http.StatusTooManyRequests, p.ask("POST", "/pair", url.Values{"code": {code.Text}}).Status)
	view := n.pairing("GET", "", nil)
	require.Nil(t, view.Code)
	require.Contains(t, view.Notice, "Five wrong codes")
	require.Empty(t, view.Asking)
	k := n.cookie()
	require.Contains(t, string(n.page("GET", "/phones", k, nil).Body), "Five wrong codes")
}

func TestA12WhatAPhoneMayNotDo(t *testing.T) {
	n := newNetwork(t)
	session := n.practice()
	base := strings.Replace(session, "/api/v1/sessions", "/s", 1)
	p := n.paired()
	version, sessions := n.version(session), n.sessions()
	for _, c := range []string{
		"DELETE " + session, "PATCH " + session, "POST /api/v1/sessions", "POST /api/v1/sessions/import", "GET " + session + "/export",
		"GET " + session + "/sheet", "POST " + session + "/trials", "POST " + session + "/trials/1/log", "GET /api/v1/pairing",
		"POST /api/v1/pairing/code", "DELETE /api/v1/pairing", "POST /api/v1/pairing/asking/x", "DELETE /api/v1/pairing/devices/x",
		"GET /phones", "POST /phones/code", "POST /phones/off", "POST /phones/x/decide", "POST /phones/x/remove", "POST /sessions",
		"GET " + base + "/delete", "POST " + base + "/delete", "POST " + base + "/rename", "POST " + base + "/trial", "GET " + base + "/sheet",
		"GET " + n.server.OpenPath(), "GET /compare", "POST /api/v1/calc/proof", "GET /none",
	} {
		method, path, _ := strings.Cut(c, " ")
		require.Equal(t, http.StatusForbidden, p.ask(method, path, url.Values{}).Status, c)
	}
	// What lets in on the PC itself lets nobody in from the network.
	for _, header := range [][]string{{"Authorization", "Bearer " + token}, {"Cookie", n.cookie().String()}} {
		require.Equal(t, http.StatusForbidden, n.phone().ask("GET", "/api/v1/sessions", nil, header...).Status)
	}
	// And the other way round.
	r := n.request("GET", "/api/v1/sessions", nil)
	r.Header.Del("Authorization")
	for name, value := range p.cookies {
		r.AddCookie(&http.Cookie{Name: name, Value: value})
	}
	require.Equal(t, http.StatusForbidden, n.do(r).Status)
	require.Equal(t, http.StatusForbidden, p.ask("POST", base+"/answer", url.Values{}, "Origin", n.http.URL).Status, "the page of the PC is another origin")
	require.Equal(t, http.StatusMisdirectedRequest, p.ask("GET", "/", nil, "Host", n.http.Listener.Addr().String()).Status)
	require.Equal(t, version, n.version(session))
	require.Equal(t, sessions, n.sessions())
}

func TestEveryRouteForPhonesExists(t *testing.T) {
	n := newNetwork(t)
	have := map[string]bool{}
	for _, r := range n.server.Echo().Routes() {
		if r.Name != "method not allowed" {
			have[r.Method+" "+r.Path] = true
		}
	}
	for method, paths := range httpapi.PhoneMay {
		for _, path := range paths {
			require.True(t, have[method+" "+path], "%s %s", method, path)
		}
	}
}

func TestPhonesAreSentAway(t *testing.T) {
	n := newNetwork(t)
	session := n.practice()
	first, second := n.paired(), n.paired()
	view := n.pairing("GET", "", nil)
	require.Len(t, view.Devices, 2)
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, "GET", n.base+session+"/stream", nil)
	require.NoError(t, err)
	for name, value := range first.cookies {
		r.AddCookie(&http.Cookie{Name: name, Value: value})
	}
	transport := &http.Transport{DisableKeepAlives: true}
	stream, err := transport.RoundTrip(r)
	require.NoError(t, err)
	defer stream.Body.Close()
	require.Equal(t, http.StatusOK, stream.StatusCode)
	n.pairing("DELETE", "/devices/"+view.Devices[0].ID, nil)
	_, err = io.Copy(io.Discard, stream.Body)
	require.NoError(t, err, "its stream ends")
	require.Equal(t, http.StatusForbidden, first.ask("GET", session, nil).Status)
	require.Equal(t, http.StatusSeeOther, first.ask("GET", "/", nil).Status, "to the page that asks for a code")
	require.Equal(t, http.StatusOK, second.ask("GET", session, nil).Status)
	require.Empty(t, n.pairing("DELETE", "", nil).Address)
	require.Equal(t, http.StatusMisdirectedRequest, second.ask("GET", session, nil).Status)
	require.Equal(t, http.StatusOK, n.call("GET", "/api/v1/health", nil).Status)
}

func TestThePageOfPhones(t *testing.T) {
	n := newNetwork(t)
	k := n.cookie()
	post := func(path, form string) reply {
		return n.page("POST", path, k, []byte(form), "Content-Type", "application/x-www-form-urlencoded", "Origin", n.http.URL)
	}
	require.Equal(t, http.StatusOK, post("/phones/code", "").Status)
	view := n.pairing("GET", "", nil)
	page := n.page("GET", "/phones", k, nil)
	require.Contains(t, string(page.Body), view.Code.Text)
	require.Contains(t, string(page.Body), `<svg xmlns="http://www.w3.org/2000/svg" class="qr"`)
	require.False(t, bytes.Contains(page.Body, []byte(view.Code.Token)), "the token stands in the picture only")
	p := n.phone()
	require.Contains(t, string(p.ask("GET", "/pair", nil).Body), "/pair/pair.js")
	require.Equal(t, http.StatusSeeOther, p.ask("POST", "/pair", url.Values{"code": {view.Code.Token}, "name": {nasty}}).Status)
	page = n.page("GET", "/phones", k, nil)
	require.Contains(t, string(page.Body), "&lt;img")
	require.Equal(t, http.StatusOK, post("/phones/"+n.pairing("GET", "", nil).Asking[0].ID+"/decide", "in=no").Status)
	require.Contains(t, string(p.ask("GET", "/pair", nil).Body), "did not let this phone in")
	require.Equal(t, http.StatusOK, post("/phones/off", "").Status)
	require.Contains(t, string(n.page("GET", "/phones", k, nil).Body), "belay --lan")
	require.Equal(t, http.StatusForbidden, n.call("POST", "/api/v1/pairing/code", nil).Status)
}
