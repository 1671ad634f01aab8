package httpapi_test

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/httpapi"
)

// The numbers of the tests in this file are those of docs/security.md.

// patience is how long a test waits for what must come. Chosen: far beyond a
// loaded machine.
const patience = time.Minute

func (b *bench) dial() net.Conn {
	b.t.Helper()
	conn, err := net.Dial("tcp", b.http.Listener.Addr().String())
	require.NoError(b.t, err)
	b.t.Cleanup(func() { _ = conn.Close() })
	require.NoError(b.t, conn.SetDeadline(time.Now().Add(patience)))
	return conn
}

// raw sends bytes as they are and returns the reply.
func (b *bench) raw(text string) reply {
	b.t.Helper()
	conn := b.dial()
	_, err := io.WriteString(conn, text)
	require.NoError(b.t, err)
	return b.answerOn(conn)
}

func (b *bench) answerOn(conn net.Conn) reply {
	b.t.Helper()
	res, err := http.ReadResponse(bufio.NewReader(conn), nil)
	require.NoError(b.t, err)
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	require.NoError(b.t, err)
	return reply{res.StatusCode, res.Header, body}
}

// head is the start of a request with the token.
func (b *bench) head(method, path string) string {
	return fmt.Sprintf("%s %s HTTP/1.1\r\nHost: %s\r\nAuthorization: Bearer %s\r\nConnection: close\r\n", method, path, b.http.Listener.Addr(), token)
}

// sessions is the list as it is sent, so that a test sees that nothing came.
func (b *bench) sessions() string { return string(b.call("GET", "/api/v1/sessions", nil).Body) }

// page makes a request as the page's own browser does.
func (b *bench) page(method, path string, k *http.Cookie, body any, header ...string) reply {
	b.t.Helper()
	r := b.request(method, path, body)
	r.Header.Del("Authorization")
	r.AddCookie(k)
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	return b.do(r)
}

func TestA02HostsThatAreNotNamed(t *testing.T) {
	b := newBench(t)
	_, port, err := net.SplitHostPort(b.http.Listener.Addr().String())
	require.NoError(t, err)
	auth := "Authorization: Bearer " + token + "\r\nConnection: close\r\n\r\n"
	own := "Host: 127.0.0.1:" + port + "\r\n"
	for name, c := range map[string]struct {
		head   string
		status int
	}{
		"any address": {"GET /api/v1/health HTTP/1.1\r\nHost: 0.0.0.0:" + port + "\r\n", http.StatusMisdirectedRequest},
		"mapped":      {"GET /api/v1/health HTTP/1.1\r\nHost: [::ffff:127.0.0.1]:" + port + "\r\n", http.StatusMisdirectedRequest},
		"none":        {"GET /api/v1/health HTTP/1.1\r\n", http.StatusBadRequest},
		"none in 1.0": {"GET /api/v1/health HTTP/1.0\r\n", http.StatusMisdirectedRequest},
		"empty":       {"GET /api/v1/health HTTP/1.1\r\nHost:\r\n", http.StatusMisdirectedRequest},
		"two":         {"GET /api/v1/health HTTP/1.1\r\n" + own + "Host: belay.example\r\n", http.StatusBadRequest},
		"two alike":   {"GET /api/v1/health HTTP/1.1\r\n" + own + own, http.StatusBadRequest},
		"in the line": {"GET http://belay.example/api/v1/health HTTP/1.1\r\n" + own, http.StatusMisdirectedRequest},
	} {
		require.Equal(t, c.status, b.raw(c.head+auth).Status, name)
	}
	require.Equal(t, http.StatusOK, b.raw("GET /api/v1/health HTTP/1.1\r\n"+own+auth).Status)
}

func TestA03FormFromAnotherOrigin(t *testing.T) {
	b := newBench(t)
	k := b.cookie()
	for _, media := range []string{"text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/json"} {
		got := b.page("POST", "/api/v1/sessions", k, []byte(`{"title":"x"}`), "Content-Type", media, "Origin", "http://belay.example")
		require.Equal(t, http.StatusForbidden, got.Status, media)
		got = b.page("POST", "/sessions", k, []byte("kind=practice"), "Content-Type", media, "Origin", "http://belay.example")
		require.Equal(t, http.StatusForbidden, got.Status, media)
	}
	got := b.page("POST", "/api/v1/sessions", k, []byte(`{"title":"x"}`), "Content-Type", "text/plain", "Origin", b.http.URL)
	require.Equal(t, http.StatusUnsupportedMediaType, got.Status)
	require.Equal(t, "[]\n", b.sessions())
}

func TestA04OriginNull(t *testing.T) {
	b := newBench(t)
	k := b.cookie()
	for _, method := range []string{"GET", "POST", "PATCH", "DELETE"} {
		got := b.page(method, "/api/v1/sessions", k, nil, "Origin", "null")
		require.Equal(t, http.StatusForbidden, got.Status, method)
	}
}

func TestA06GetChangesNothing(t *testing.T) {
	b := newBench(t)
	k := b.cookie()
	session := b.practice()
	version := b.version(session)
	p := b.prompt(session)
	base := "/s/" + session[len("/api/v1/sessions/"):]
	for _, path := range []string{
		session + "/answers", session + "/undo", session + "/say", base + "/answer", base + "/simulate", base + "/undo", base + "/say", base + "/rename",
	} {
		query := "?_method=POST&prompt=" + p.ID + "&action=continue"
		got := b.page("GET", path+query, k, nil, "X-HTTP-Method-Override", "POST")
		require.Equal(t, http.StatusMethodNotAllowed, got.Status, path)
		require.Equal(t, "POST", got.Header.Get("Allow"), path)
	}
	require.Equal(t, version, b.version(session))
}

func TestA07FramesAreForbidden(t *testing.T) {
	b := newBench(t)
	k := b.cookie()
	for _, path := range []string{"/", "/open/none", "/none", "/api/v1/health"} {
		got := b.page("GET", path, k, nil)
		require.Contains(t, got.Header.Get("Content-Security-Policy"), "frame-ancestors 'none'", path)
		require.NotContains(t, got.Header.Get("Content-Security-Policy"), "'unsafe", path)
	}
}

func TestA08StreamFromAnotherOrigin(t *testing.T) {
	b := newBench(t)
	k := b.cookie()
	session := b.practice()
	for _, header := range [][]string{
		{"Origin", "http://belay.example"}, {"Origin", "http://127.0.0.1:1"}, {"Origin", "null"}, {"Origin", ""},
		{"Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "no-cors"}, {"Sec-Fetch-Site", "same-site", "Sec-Fetch-Mode", "cors"},
	} {
		got := b.page("GET", session+"/stream", k, nil, header...)
		require.Equal(t, http.StatusForbidden, got.Status, "%v", header)
		require.NotContains(t, string(got.Body), "retry:")
	}
	// A link on another site may lead to the first page; the strict cookie
	// stays away then, and nothing is told.
	require.Equal(t, http.StatusOK, b.page("GET", "/", k, nil, "Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate").Status)
}

func TestA09OtherMethodsAndProtocols(t *testing.T) {
	b := newBench(t)
	for _, method := range []string{"TRACE", "CONNECT", "PROPFIND", "ANSWER", "get"} {
		for _, path := range []string{"/", "/api/v1/sessions"} {
			got := b.raw(b.head(method, path) + "\r\n").Status
			require.Equal(t, http.StatusMethodNotAllowed, got, "%s %s", method, path)
		}
	}
	upgrade := "Upgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n"
	require.Equal(t, http.StatusBadRequest, b.raw(strings.Replace(b.head("GET", "/api/v1/sessions"), "Connection: close", "Connection: Upgrade", 1)+upgrade).Status)
	require.Equal(t, http.StatusMisdirectedRequest, b.raw("PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n").Status, "it names no host")
}

func TestA13SecretInAnAddress(t *testing.T) {
	var lines lockedBuffer
	b := newBench(t, func(c *httpapi.Config) { c.Log = slog.New(slog.NewTextHandler(&lines, nil)) })
	k := b.cookie()
	for _, path := range []string{
		"/api/v1/health?token=" + token, "/?code=BCDFGHJK", "/api/v1/sessions?x=" + token, "/?y=" + k.Value, "/static/x?token=" + token,
	} {
		got := b.page("GET", path, k, nil)
		require.Equal(t, http.StatusForbidden, got.Status, path)
		require.NotContains(t, string(got.Body), token)
	}
	// A failing request and a panic leave a trace, without the secrets.
	b.server.Echo().GET("/api/v1/panic", panics)
	r := b.request("GET", "/api/v1/panic", nil)
	r.AddCookie(k)
	require.Equal(t, http.StatusInternalServerError, b.do(r).Status)
	text := lines.String()
	require.Equal(t, 5, strings.Count(text, "a secret came in an address"))
	require.Contains(t, text, "panic in a handler")
	for _, secret := range []string{token, k.Value, b.server.OpenPath()} {
		require.NotContains(t, text, secret)
	}
}

// lockedBuffer is a buffer that goroutines may share.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// closed waits until the other side has closed the connection.
func closed(t *testing.T, conn net.Conn) {
	t.Helper()
	_, err := io.Copy(io.Discard, conn)
	var timeout net.Error
	if err != nil {
		require.False(t, errorsAs(err, &timeout) && timeout.Timeout(), "the connection stays open")
	}
}

// TestA14HalfOpenHeaders: the limit of 5 s is shortened, so that the test
// waits for the closing and not for the time.
func TestA14HalfOpenHeaders(t *testing.T) {
	b := newBench(t, func(c *httpapi.Config) { c.Limits.Header, c.Limits.Read = 2*time.Second, time.Hour })
	var open []net.Conn
	for range 200 {
		conn := b.dial()
		_, _ = io.WriteString(conn, "GET / HTTP/1.1\r\nHost: ") // the oldest may be closed by now
		open = append(open, conn)
	}
	require.Equal(t, http.StatusOK, b.call("GET", "/api/v1/health", nil).Status, "a person still gets in")
	for _, conn := range open {
		closed(t, conn)
	}
	require.Equal(t, 5*time.Second, httpapi.DefaultLimits().Header)
}

// TestConnectionsAreLimited: the oldest that wait make room, long before any
// time is over.
func TestConnectionsAreLimited(t *testing.T) {
	b := newBench(t, func(c *httpapi.Config) {
		c.Limits.Header, c.Limits.Read, c.Limits.Connections = time.Hour, time.Hour, 4
	})
	var open []net.Conn
	for range 10 {
		conn := b.dial()
		_, _ = io.WriteString(conn, "GET / HTTP/1.1\r\nHost: ")
		open = append(open, conn)
	}
	for _, conn := range open[:6] {
		closed(t, conn)
	}
	require.Equal(t, http.StatusOK, b.call("GET", "/api/v1/health", nil).Status)
	require.Equal(t, 64, httpapi.DefaultLimits().Connections)
}

func TestA15SlowBody(t *testing.T) {
	b := newBench(t, func(c *httpapi.Config) { c.Limits.Read = 2 * time.Second })
	conn := b.dial()
	_, err := io.WriteString(conn, b.head("POST", "/api/v1/sessions")+"Content-Type: application/json\r\nContent-Length: 100\r\n\r\n{")
	require.NoError(t, err)
	require.Equal(t, http.StatusRequestTimeout, b.answerOn(conn).Status)
	require.Equal(t, "[]\n", b.sessions())
	require.Equal(t, 15*time.Second, httpapi.DefaultLimits().Read)
}

func TestA16LongAndEndlessBodies(t *testing.T) {
	b := newBench(t)
	long := append([]byte(`{"title":"x"}`), bytes.Repeat([]byte(" "), 64<<10+1-13)...)
	require.Len(t, long, 64<<10+1)
	require.Equal(t, http.StatusRequestEntityTooLarge, b.call("POST", "/api/v1/sessions", long).Status)

	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	conn := b.dial()
	_, err := io.WriteString(conn, b.head("POST", "/api/v1/sessions")+"Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n")
	require.NoError(t, err)
	sent := make(chan struct{})
	go func() { // until the server hangs up
		defer close(sent)
		chunk := "8000\r\n" + strings.Repeat(" ", 0x8000) + "\r\n"
		for range 10_000 {
			if _, err := io.WriteString(conn, chunk); err != nil {
				return
			}
		}
	}()
	require.Equal(t, http.StatusRequestEntityTooLarge, b.answerOn(conn).Status)
	require.NoError(t, conn.Close())
	<-sent
	runtime.ReadMemStats(&after)
	require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(32<<20), "bytes allocated in all")
	require.Equal(t, "[]\n", b.sessions())
}

func TestA17LongHeader(t *testing.T) {
	b := newBench(t)
	conn := b.dial()
	_, _ = io.WriteString(conn, b.head("GET", "/api/v1/health")+"X-Long: "+strings.Repeat("x", 1<<20)) // the server hangs up in between
	require.Equal(t, http.StatusRequestHeaderFieldsTooLarge, b.answerOn(conn).Status)
	r := b.request("GET", "/api/v1/health", nil)
	r.Header.Set("X-Long", strings.Repeat("x", 12<<10))
	require.Equal(t, http.StatusOK, b.do(r).Status)
}

func TestA18TooManyStreams(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	var open []*reader
	for range 16 {
		open = append(open, b.listen(session, ""))
	}
	for range 84 {
		got := b.call("GET", session+"/stream", nil)
		refused(t, http.StatusServiceUnavailable, got)
		require.NotEmpty(t, got.Header.Get("Retry-After"))
	}
	before := b.version(session)
	into[result](t, http.StatusOK, b.call("POST", session+"/answers", object{"prompt": b.prompt(session).ID, "action": "continue"}))
	for _, s := range open { // the others live
		id, _ := s.next()
		require.Equal(t, before+1, id)
	}
	require.NoError(t, open[0].res.Body.Close())
	require.Eventually(t, func() bool {
		r := b.request("GET", session+"/stream", nil)
		res, err := b.http.Client().Do(r)
		require.NoError(t, err)
		_ = res.Body.Close()
		return res.StatusCode == http.StatusOK
	}, patience, 20*time.Millisecond, "a place that came free is given again")
	for _, s := range open[1:] {
		require.NoError(t, s.res.Body.Close())
	}
}

func TestSilentStreamsAreKeptAlive(t *testing.T) {
	b := newBench(t, func(c *httpapi.Config) { c.Limits.KeepAlive = 10 * time.Millisecond })
	s := b.listen(b.practice(), "")
	defer s.res.Body.Close()
	for s.lines.Scan() && s.lines.Text() == "" {
	}
	require.Equal(t, ": still here", s.lines.Text())
	require.Equal(t, 15*time.Second, httpapi.DefaultLimits().KeepAlive)
}

func TestA19PathsThatLeaveTheFolder(t *testing.T) {
	b := newBench(t)
	for _, path := range []string{
		"/static/..%2f..%2fbelay.db", "/static/../../belay.db", "/static/%2e%2e/%2e%2e/belay.db", "/static/x%00.css", "/static/..%5c..%5cbelay.db",
		"/static/..\\..\\belay.db", "//belay.example/static/", "/static//etc/passwd", "/static/%2fetc%2fpasswd", "/static/C:%5cbelay.db",
		"/s/..%2f..%2fbelay.db", "/api/v1/flows/..%2fcautions", "/api/v1/flows/%2fetc%2fpasswd", "/api/v1/sessions/..%2f..%2ftoken",
	} {
		require.Equal(t, http.StatusNotFound, b.raw(b.head("GET", path)+"\r\n").Status, path)
	}
}
