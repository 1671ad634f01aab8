package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/config"
	"belay/internal/httpapi"
	"belay/internal/session"
)

// patience is how long a test waits for what must come. Chosen: far beyond a
// loaded machine.
const patience = time.Minute

// result is what one command line gave.
type result struct {
	code     int
	out, err string
}

func belay(t *testing.T, args ...string) result {
	t.Helper()
	var out, messages bytes.Buffer
	code := run(t.Context(), args, &out, &messages)
	return result{code, out.String(), messages.String()}
}

// running is a Belay that serves.
type running struct {
	t             *testing.T
	folder        string
	base, opening string
	token         string
	stop          context.CancelFunc
	code          chan int
	messages      *bytes.Buffer // to be read after code
}

// start serves a data folder on a free port.
func start(t *testing.T, folder string, more ...string) *running {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	r := &running{t: t, folder: folder, stop: stop, code: make(chan int, 1), messages: &bytes.Buffer{}}
	out, in := io.Pipe()
	go func() {
		r.code <- run(ctx, append([]string{"--addr", "127.0.0.1:0", "--no-open", "--data", folder}, more...), in, r.messages)
		_ = in.Close()
	}()
	t.Cleanup(stop)
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		<-r.code
		require.NoError(t, err, r.messages.String())
	}
	found := regexp.MustCompile(`^Belay is at (http://127\.0\.0\.1:\d+)(/open/\S+) \(Ctrl\+C stops it\)\n$`).FindStringSubmatch(line)
	require.NotNil(t, found, line)
	r.base, r.opening = found[1], found[2]
	r.token, err = config.Token(folder, func(string) string { return "" })
	require.NoError(t, err)
	return r
}

// ended waits for the exit code.
func (r *running) ended() int {
	r.t.Helper()
	select {
	case code := <-r.code:
		return code
	case <-time.After(patience):
		require.Fail(r.t, "Belay does not stop")
		return -1
	}
}

func (r *running) request(method, path, token, body string) (*http.Response, error) {
	q, err := http.NewRequestWithContext(r.t.Context(), method, r.base+path, strings.NewReader(body))
	require.NoError(r.t, err)
	q.Header.Set("Content-Type", "application/json")
	q.Header.Set("Authorization", "Bearer "+token)
	return http.DefaultTransport.RoundTrip(q)
}

// ask sends a request with the token and returns the answer.
func (r *running) ask(method, path, body string) []byte {
	r.t.Helper()
	reply, err := r.request(method, path, r.token, body)
	require.NoError(r.t, err)
	defer reply.Body.Close()
	text, err := io.ReadAll(reply.Body)
	require.NoError(r.t, err)
	require.Less(r.t, reply.StatusCode, 300, string(text))
	return text
}

const practice = `{"flow":"desktop","title":"Round trip","practice":{"seed":1,"variant":"own"}}`

// session starts a practice session and returns its id.
func (r *running) session() string {
	r.t.Helper()
	var v session.View
	require.NoError(r.t, json.Unmarshal(r.ask(http.MethodPost, "/api/v1/sessions", practice), &v))
	require.NotEmpty(r.t, v.ID)
	return v.ID
}

func TestServe(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "data")
	b := start(t, folder)
	var h httpapi.Health
	require.NoError(t, json.Unmarshal(b.ask(http.MethodGet, "/api/v1/health", ""), &h))
	require.Equal(t, "ok", h.Integrity)
	require.Positive(t, h.SchemaVersion)
	require.Equal(t, version, h.Version)

	reply, err := b.request(http.MethodGet, "/api/v1/health", "wrong", "")
	require.NoError(t, err)
	require.NoError(t, reply.Body.Close())
	require.Equal(t, http.StatusForbidden, reply.StatusCode)
	require.Contains(t, string(b.ask(http.MethodGet, b.opening, "")), "Open Belay")

	second := belay(t, "--addr", "127.0.0.1:0", "--no-open", "--data", folder)
	require.Equal(t, 1, second.code)
	require.Empty(t, second.out)
	require.Contains(t, second.err, b.base+"/", "the second one names the first")

	b.stop()
	require.Equal(t, 0, b.ended())
	require.Empty(t, b.messages.String())
	require.Equal(t, 0, belay(t, "session", "list", "--data", folder).code, "the folder is free again")
}

func TestStopEndsStreams(t *testing.T) {
	b := start(t, t.TempDir())
	reply, err := b.request(http.MethodGet, "/api/v1/sessions/"+b.session()+"/stream", b.token, "")
	require.NoError(t, err)
	defer reply.Body.Close()
	require.Equal(t, "text/event-stream", reply.Header.Get("Content-Type"))
	b.stop()
	_, err = io.ReadAll(reply.Body)
	require.NoError(t, err, "the stream ends, it is not cut off")
	require.Equal(t, 0, b.ended())
}

func TestServeRefuses(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer taken.Close()
	for addr, says := range map[string]string{
		"0.0.0.0:8420": "serves this PC only", "192.168.1.2:8420": "serves this PC only", ":8420": "serves this PC only",
		"[::]:8420": "serves this PC only", "8420": "not an address", taken.Addr().String(): "cannot listen",
	} {
		folder := t.TempDir()
		r := belay(t, "serve", "--no-open", "--addr", addr, "--data", folder)
		require.Equal(t, 1, r.code, addr)
		require.Empty(t, r.out, addr)
		require.Contains(t, r.err, says, addr)
		require.Equal(t, 2, strings.Count(r.err, "\n"), "what is wrong and what to do: %s", r.err)
	}
	broken := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(broken, "mine.yaml"), []byte("no_such_key: 1\n"), 0o600))
	r := belay(t, "serve", "--no-open", "--addr", "127.0.0.1:0", "--data", t.TempDir(), "--flows", broken)
	require.Equal(t, 1, r.code)
	require.Contains(t, r.err, "mine.yaml:1:")
}

func TestSessionsMoveBetweenFolders(t *testing.T) {
	from, to, work := t.TempDir(), t.TempDir(), t.TempDir()
	b := start(t, from)
	id := b.session()
	b.stop()
	require.Equal(t, 0, b.ended())

	file := filepath.Join(work, "session.json")
	require.Equal(t, 0, belay(t, "session", "export", id, "-o", file, "--data", from).code)
	exported, err := os.ReadFile(file)
	require.NoError(t, err)
	changed := filepath.Join(work, "changed.json")
	require.NoError(t, os.WriteFile(changed, bytes.Replace(exported, []byte("Round trip"), []byte("Round trap"), 1), 0o600))
	require.Equal(t, 1, belay(t, "session", "import", changed, "--data", to).code)

	require.Equal(t, result{0, id + "\n", ""}, belay(t, "session", "import", file, "--data", to))
	require.Equal(t, 1, belay(t, "session", "import", file, "--data", to).code, "it is there already")
	require.Contains(t, belay(t, "session", "list", "--data", to).out, "Round trip")
	require.Equal(t, belay(t, "session", "show", id, "--json", "--data", from), belay(t, "session", "show", id, "--json", "--data", to))
	require.Equal(t, string(exported), belay(t, "session", "export", id, "--data", to).out)
	require.Contains(t, belay(t, "sheet", id, "--format", "md", "--data", to).out, "simulated PC")
	require.Equal(t, 0, belay(t, "session", "verify", id, "--data", to).code)
	require.Contains(t, belay(t, "session", "verify", "--data", to).out, "1 session")
}

func TestVerifyFindsDamage(t *testing.T) {
	folder := t.TempDir()
	b := start(t, folder)
	id := b.session()
	b.stop()
	require.Equal(t, 0, b.ended())

	backup := filepath.Join(t.TempDir(), config.Database(""))
	require.Equal(t, 0, belay(t, "backup", backup, "--data", folder).code)
	require.Equal(t, 1, belay(t, "backup", backup, "--data", folder).code, "the name is taken")
	damage := func(path string) {
		data, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Contains(t, string(data), "Round trip")
		require.NoError(t, os.WriteFile(path, bytes.Replace(data, []byte("Round trip"), []byte("Round trap"), 1), 0o600))
	}
	damage(config.Database(folder))
	mended := belay(t, "session", "verify", "--data", folder)
	require.Equal(t, 3, mended.code, mended)
	require.Contains(t, mended.out, "Nothing is lost")
	require.Contains(t, belay(t, "session", "list", "--data", folder).out, "Round trip", "the second journal mends it")

	damage(config.Database(folder))
	damage(config.Database(folder) + ".witness")
	lost := belay(t, "session", "verify", "--data", folder)
	require.Equal(t, 3, lost.code, lost)
	require.Contains(t, lost.out, id)
	require.Contains(t, belay(t, "session", "list", "--data", filepath.Dir(backup)).out, "Round trip", "the backup is sound")

	b = start(t, folder)
	var h httpapi.Health
	require.NoError(t, json.Unmarshal(b.ask(http.MethodGet, "/api/v1/health", ""), &h))
	require.NotEmpty(t, h.Notices)
	b.stop()
	require.Equal(t, 0, b.ended())
}

func TestPracticeRig(t *testing.T) {
	rig, err := practiceRig(1, "own")
	require.NoError(t, err)
	require.Positive(t, rig.Machine().Cores)
	rig, err = practiceRig(1, "no such")
	require.Error(t, err)
	require.True(t, rig == nil, "not a nil rig in a filled interface")
}

func TestBrowser(t *testing.T) {
	for goos, program := range map[string]string{"linux": "xdg-open", "windows": "rundll32", "darwin": "open"} {
		line := browser(goos, "http://x/")
		require.Equal(t, program, line[0])
		require.Equal(t, "http://x/", line[len(line)-1])
	}
}
