//go:build unix

package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"regexp"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/config"
	"belay/internal/load"
)

// asServer makes this test binary serve instead of testing.
const asServer = "BELAY_TEST_SERVE"

func TestMain(m *testing.M) {
	if load.IsChild(os.Args) {
		os.Exit(load.Child(os.Stdin, os.Stdout))
	}
	if folder := os.Getenv(asServer); folder != "" {
		os.Exit(run(context.Background(), []string{"--addr", "127.0.0.1:0", "--no-open", "--data", folder}, os.Stdout, os.Stderr))
	}
	os.Exit(onNoPC(m.Run))
}

// onNoPC lets the tests run on a PC that tells nothing of itself, so that
// they see the same on every machine.
func onNoPC(run func() int) int {
	empty, err := os.MkdirTemp("", "belay-root")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(empty)
	if err := os.Setenv(config.EnvRoot, empty); err != nil {
		panic(err)
	}
	return run()
}

// child starts Belay in a process of its own, to be killed.
func child(t *testing.T, folder string) (*exec.Cmd, string) {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	c := exec.CommandContext(t.Context(), self)
	c.Env = append(os.Environ(), asServer+"="+folder)
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	c.Stderr = os.Stderr
	require.NoError(t, c.Start())
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	go func() { _, _ = io.Copy(io.Discard, out) }()
	found := regexp.MustCompile(`(http://127\.0\.0\.1:\d+)/open/`).FindStringSubmatch(line)
	require.NotNil(t, found, line)
	return c, found[1]
}

const (
	kills    = 50
	killSeed = 20260301 // chosen: any fixed number
)

// TestKillNine kills the server at fifty random moments of a journey. Each
// time the acknowledged answer is there, the prompt is the same, and the
// answer that was on its way, sent again with its key, counts once.
func TestKillNine(t *testing.T) {
	folder := t.TempDir()
	luck := rand.New(rand.NewPCG(killSeed, 1))
	server, base := child(t, folder)
	token, err := config.Token(folder, func(string) string { return "" })
	require.NoError(t, err)
	w := &traveller{t: t, base: base, token: token}
	w.begin(2)
	var acked struct {
		Version int64
		Prompt  prompt
	}
	require.NoError(t, w.get("/sessions/"+w.id+"/prompt", &acked.Prompt))
	keys, lost, done := 0, 0, 0
	key, body := "", map[string]any(nil)
	for done < kills {
		gone := make(chan struct{})
		process := server.Process
		timer := time.AfterFunc(time.Duration(luck.IntN(400))*time.Millisecond, func() {
			_ = process.Signal(syscall.SIGKILL)
			close(gone)
		})
		for {
			p := acked.Prompt
			if p.Finished {
				break
			}
			keys++
			key = fmt.Sprintf("key-%d", keys)
			body = w.reply(p)
			code, text, err := w.call(http.MethodPost, "/sessions/"+w.id+"/answers", key, body)
			if err != nil {
				break
			}
			require.Equal(t, http.StatusOK, code, "%s: %s", p.State, text)
			acked.Prompt = prompt{}
			require.NoError(t, json.Unmarshal(text, &acked))
		}
		<-gone
		timer.Stop()
		_ = server.Wait()
		done++
		server, w.base = child(t, folder)
		lost += w.afterKill(acked.Version, acked.Prompt, key, body)
		if acked.Prompt.Finished {
			w.begin(uint64(2 + done))
			body = nil
		}
		acked.Prompt, acked.Version = prompt{}, 0
		require.NoError(t, w.get("/sessions/"+w.id+"/prompt", &acked.Prompt))
	}
	t.Logf("%d kills, %d answers sent, %d were on their way and had been committed", done, keys, lost)
	_ = server.Process.Kill()
	_ = server.Wait()
}

// afterKill checks the session after a restart and sends the answer again that
// was on its way. It returns 1 if that answer had been committed before.
func (w *traveller) afterKill(version int64, last prompt, key string, body map[string]any) int {
	var v struct{ Version int64 }
	require.NoError(w.t, w.get("/sessions/"+w.id, &v))
	require.GreaterOrEqual(w.t, v.Version, version, "an acknowledged answer is gone")
	if body == nil {
		return 0 // killed before the first answer
	}
	before := w.answered(key)
	require.LessOrEqual(w.t, before, 1)
	if before == 0 {
		var p prompt
		require.NoError(w.t, w.get("/sessions/"+w.id+"/prompt", &p))
		require.Equal(w.t, last, p, "the prompt has changed")
	}
	for range 2 {
		code, text, err := w.call(http.MethodPost, "/sessions/"+w.id+"/answers", key, body)
		require.NoError(w.t, err)
		require.Equal(w.t, http.StatusOK, code, string(text))
	}
	require.Equal(w.t, 1, w.answered(key), "the answer counts once")
	return before
}

// answered counts the answers with this key in the exported log.
func (w *traveller) answered(key string) int {
	var doc struct {
		Events []struct {
			Kind string
			Body json.RawMessage
		}
	}
	require.NoError(w.t, w.get("/sessions/"+w.id+"/export", &doc))
	n := 0
	for _, e := range doc.Events {
		var b struct{ Key string }
		if e.Kind == "answered" && json.Unmarshal(e.Body, &b) == nil && b.Key == key {
			n++
		}
	}
	return n
}
