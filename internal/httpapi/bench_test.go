package httpapi_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"belay/internal/assist"
	"belay/internal/httpapi"
	"belay/internal/hub"
	"belay/internal/pair"
	"belay/internal/rig"
	"belay/internal/rig/rigtest"
	"belay/internal/sensorlog"
	"belay/internal/store"
	"belay/internal/trial"
	"belay/internal/virtualrig"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const token = "a-token-for-tests"

// bench is a whole Belay behind a real listener.
type bench struct {
	t      *testing.T
	http   *httptest.Server
	server *httpapi.Server
	log    *store.Log
	hub    *hub.Hub
	guide  *assist.Assist
	desk   *pair.Desk
}

func newBench(t *testing.T, change ...func(*httpapi.Config)) *bench {
	t.Helper()
	log, err := store.Open(filepath.Join(t.TempDir(), "belay.db"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, log.Close()) })
	h := hub.New(log.EventsAfter)
	var ids atomic.Int64
	var clock atomic.Int64
	guide := assist.New(assist.Config{
		Log: log, Offer: os.DirFS("../../flows"),
		Rig: func(seed uint64, variant string) (assist.PracticeRig, error) {
			return virtualrig.New(seed, virtualrig.Variant(variant))
		},
		Detect:  func() (trial.Values, map[string]string) { return rig.Over(rigtest.Load("amber")).Read().Offer() },
		Columns: sensorlog.NewMemory(filepath.Join(t.TempDir(), "columns.json")),
		Export:  store.Export,
		Notify:  h.Notify,
		Now:     func() time.Time { return time.Date(2026, 3, 1, 9, int(clock.Add(1)), 0, 0, time.UTC) },
		NewID:   func() string { return fmt.Sprintf("s%d", ids.Add(1)) },
	})
	ts := httptest.NewUnstartedServer(nil)
	desk := pair.New(time.Now)
	config := httpapi.Config{
		Pair:   desk,
		Assist: guide, Hub: h, Token: token, Addr: ts.Listener.Addr().String(), Version: "test",
		Health: func(ctx context.Context) (httpapi.Health, error) {
			_, err := log.Verify(ctx)
			return httpapi.Health{SchemaVersion: log.SchemaVersion(), Integrity: "ok", Notices: []string{}, ReadBack: "disk"}, err
		},
	}
	for _, f := range change {
		f(&config)
	}
	server, err := httpapi.New(config)
	require.NoError(t, err)
	ts.Config = server.HTTP()
	ts.Start()
	t.Cleanup(ts.Close)
	t.Cleanup(h.Close) // before the listener closes, so that streams end
	return &bench{t: t, http: ts, server: server, log: log, hub: h, guide: guide, desk: desk}
}

// request makes a request with the token. A body that is neither nil nor
// bytes is sent as JSON.
func (b *bench) request(method, path string, body any) *http.Request {
	b.t.Helper()
	var reader io.Reader
	switch body := body.(type) {
	case nil:
	case []byte:
		reader = bytes.NewReader(body)
	default:
		text, err := json.Marshal(body)
		require.NoError(b.t, err)
		reader = bytes.NewReader(text)
	}
	r, err := http.NewRequestWithContext(b.t.Context(), method, b.http.URL+path, reader)
	require.NoError(b.t, err)
	r.Header.Set("Authorization", "Bearer "+token)
	if reader != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	return r
}

// reply is a whole response.
type reply struct {
	Status int
	Header http.Header
	Body   []byte
}

func (b *bench) do(r *http.Request) reply {
	b.t.Helper()
	res, err := b.http.Client().Do(r)
	require.NoError(b.t, err)
	defer func() { require.NoError(b.t, res.Body.Close()) }()
	body, err := io.ReadAll(res.Body)
	require.NoError(b.t, err)
	return reply{res.StatusCode, res.Header, body}
}

func (b *bench) call(method, path string, body any) reply {
	b.t.Helper()
	return b.do(b.request(method, path, body))
}

// into reads the body of a reply with the status that is expected.
func into[T any](t *testing.T, status int, r reply) T {
	t.Helper()
	require.Equal(t, status, r.Status, "%s", r.Body)
	var v T
	require.NoError(t, json.Unmarshal(r.Body, &v))
	return v
}

// problem is a problem document, as a program reads it.
type problem struct {
	Type, Title, Detail, Code, Next string
	Status                          int
	Errors                          []struct{ Field, Message string }
	Prompt                          *prompt
}

// refused reads a problem document.
func refused(t *testing.T, status int, r reply) problem {
	t.Helper()
	p := into[problem](t, status, r)
	require.Equal(t, "application/problem+json", r.Header.Get("Content-Type"))
	require.Equal(t, status, p.Status)
	require.NotEmpty(t, p.Title)
	require.NotEmpty(t, p.Detail)
	require.NotEmpty(t, p.Next)
	return p
}

// prompt is what a program that knows only field names reads of a prompt.
type prompt struct {
	ID, State, Stage string
	Trial, Finished  bool
	Fields           []struct {
		Name     string
		Required bool
		Default  any
	}
	Actions []struct{ Name string }
}

type result struct {
	Version int64
	Prompt  prompt
}

type object = map[string]any

// practice starts a practice session and returns its path.
func (b *bench) practice() string {
	b.t.Helper()
	v := into[struct{ ID string }](b.t, http.StatusCreated, b.call("POST", "/api/v1/sessions",
		object{"title": "Practice", "practice": object{"seed": 1}}))
	return "/api/v1/sessions/" + v.ID
}

func (b *bench) prompt(session string) prompt {
	b.t.Helper()
	return into[prompt](b.t, http.StatusOK, b.call("GET", session+"/prompt", nil))
}

// version is the number of events of a session.
func (b *bench) version(session string) int64 {
	b.t.Helper()
	events, err := b.log.Events(b.t.Context(), filepath.Base(session))
	require.NoError(b.t, err)
	return int64(len(events))
}

// choices are what the walker answers where the simulated PC cannot.
var choices = object{
	"backup": "done", "clear_known": true, "photo_taken": true, "cooler": "air", "target": "normal",
	"steps_back": "1", "daily_mode": "adaptive",
}

// answerTo is the answer of a willing person. Who comes to the same
// crossroads for the third time takes the other way.
func answerTo(p prompt, visits map[string]int) object {
	for _, a := range p.Actions {
		if a.Name == "simulate" {
			return object{"prompt": p.ID, "action": "simulate"}
		}
	}
	values := object{}
	for _, f := range p.Fields {
		if v, ok := choices[f.Name]; ok && f.Required {
			values[f.Name] = v
		} else if f.Default != nil {
			values[f.Name] = f.Default
		}
	}
	visits[p.State]++
	action := p.Actions[0].Name
	if visits[p.State] > 2 && len(p.Actions) > 2 {
		action = p.Actions[1].Name
	}
	return object{"prompt": p.ID, "action": action, "values": values}
}

// walk answers until the session asks what stop wants.
func (b *bench) walk(session string, stop func(prompt) bool) prompt {
	b.t.Helper()
	visits := map[string]int{}
	p := b.prompt(session)
	var trail []string
	for n := 0; !stop(p); n++ {
		require.Less(b.t, n, 60, "the walk does not get there: %v", trail)
		trail = append(trail, p.State)
		p = into[result](b.t, http.StatusOK, b.call("POST", session+"/answers", answerTo(p, visits))).Prompt
	}
	return p
}
