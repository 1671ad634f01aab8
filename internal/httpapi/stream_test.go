package httpapi_test

import (
	"bufio"
	"encoding/json"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// reader reads a stream of server-sent events.
type reader struct {
	t     *testing.T
	res   *http.Response
	lines *bufio.Scanner
}

func (b *bench) listen(session, last string) *reader {
	b.t.Helper()
	r := b.request("GET", session+"/stream", nil)
	if last != "" {
		r.Header.Set("Last-Event-ID", last)
	}
	res, err := b.http.Client().Do(r)
	require.NoError(b.t, err)
	require.Equal(b.t, http.StatusOK, res.StatusCode)
	require.Equal(b.t, "text/event-stream", res.Header.Get("Content-Type"))
	require.Equal(b.t, "no-store", res.Header.Get("Cache-Control"))
	s := &reader{b.t, res, bufio.NewScanner(res.Body)}
	require.True(b.t, s.lines.Scan(), "the retry time comes at once")
	require.Equal(b.t, "retry: 2000", s.lines.Text())
	return s
}

// next reads one event and returns its id and kind.
func (s *reader) next() (int64, string) {
	s.t.Helper()
	field := map[string]string{}
	for s.lines.Scan() {
		if s.lines.Text() == "" && field["data"] != "" {
			break
		}
		if name, value, ok := strings.Cut(s.lines.Text(), ": "); ok {
			field[name] = value
		}
	}
	require.Equal(s.t, "version", field["event"])
	id, err := strconv.ParseInt(field["id"], 10, 64)
	require.NoError(s.t, err)
	var data struct {
		Version int64
		Kind    string
	}
	require.NoError(s.t, json.Unmarshal([]byte(field["data"]), &data))
	require.Equal(s.t, id, data.Version)
	return id, data.Kind
}

func TestAnswerAppearsInTheStream(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	before := b.version(session)
	s := b.listen(session, "")
	defer s.res.Body.Close()
	after := into[result](t, http.StatusOK, b.call("POST", session+"/answers",
		object{"prompt": b.prompt(session).ID, "action": "continue"})).Version
	id, kind := s.next()
	require.Equal(t, before+1, id)
	require.Equal(t, "answered", kind)
	for want := before + 2; want <= after; want++ {
		id, _ = s.next()
		require.Equal(t, want, id)
	}
}

func TestReconnectHasNoGaps(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	first := b.listen(session, "")
	b.walk(session, at("prepare.way-back"))
	last, _ := first.next()
	require.NoError(t, first.res.Body.Close())

	b.walk(session, at("prepare.cooling")) // while nobody listens
	again := b.listen(session, strconv.FormatInt(last, 10))
	defer again.res.Body.Close()
	for end := b.version(session); last < end; last++ {
		id, _ := again.next()
		require.Equal(t, last+1, id)
	}
	b.walk(session, at("prepare.photo")) // and goes on live
	id, _ := again.next()
	require.Equal(t, last+1, id)

	whole := b.listen(session, "0")
	defer whole.res.Body.Close()
	id, kind := whole.next()
	require.EqualValues(t, 1, id)
	require.Equal(t, "session_started", kind)
}

func TestStreamRefusesAWrongPlace(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	for _, last := range []string{"x", "-1", "1000", "1.5"} {
		r := b.request("GET", session+"/stream", nil)
		r.Header.Set("Last-Event-ID", last)
		refused(t, http.StatusUnprocessableEntity, b.do(r))
	}
}

// TestStreamEndsWithTheHub relies on the check for leaked goroutines, too.
func TestStreamEndsWithTheHub(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	s := b.listen(session, "")
	defer s.res.Body.Close()
	b.hub.Close()
	for s.lines.Scan() {
		require.Empty(t, s.lines.Text())
	}
	require.NoError(t, s.lines.Err(), "it ends as a whole reply, not cut off")
}
