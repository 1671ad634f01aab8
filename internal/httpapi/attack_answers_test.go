package httpapi_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"

	"belay/internal/httpapi"
)

// The numbers of the tests in this file are those of docs/security.md.

func errorsAs(err error, target any) bool { return errors.As(err, target) }

func panics(echo.Context) error { panic("on purpose, with\na second line") }

func TestA20NamesOfOtherThings(t *testing.T) {
	b := newBench(t)
	session, other := b.practice(), b.practice()
	b.walk(other, at("prepare.way-back"))
	version := b.version(session)
	foreign := b.prompt(other).ID
	require.NotEqual(t, b.prompt(session).ID, foreign)
	for _, id := range []string{foreign, "", "none", "-1", "9223372036854775808", "' OR 1=1 --", strings.Repeat("p", 1000)} {
		got := b.call("POST", session+"/answers", object{"prompt": id, "action": "continue"})
		require.Contains(t, []int{http.StatusConflict, http.StatusUnprocessableEntity}, got.Status, id)
	}
	for _, n := range []string{"-1", "0", "99", "9223372036854775808", "1.5", "x"} {
		r := b.request("POST", session+"/trials/"+n+"/log", []byte("Time,Core\n1,2\n"))
		r.Header.Set("Content-Type", "text/csv")
		require.Equal(t, http.StatusNotFound, b.do(r).Status, n)
	}
	for _, id := range []string{"none", "-1", "9223372036854775808", "%25", "_", "s_", "%27%20OR%201=1"} {
		got := refused(t, http.StatusNotFound, b.call("GET", "/api/v1/sessions/"+id, nil))
		require.NotContains(t, got.Detail+got.Next, "sql", id)
	}
	require.Equal(t, version, b.version(session))
}

func TestA23AnswerToAStepThatWasTakenBack(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	first := b.prompt(session)
	second := into[result](t, http.StatusOK, b.call("POST", session+"/answers", object{"prompt": first.ID, "action": "continue"})).Prompt
	into[result](t, http.StatusOK, b.call("POST", session+"/undo", nil))
	version := b.version(session)
	got := refused(t, http.StatusConflict, b.call("POST", session+"/answers", answerTo(second, map[string]int{})))
	require.Equal(t, first.State, got.Prompt.State)
	refused(t, http.StatusConflict, b.call("POST", session+"/answers", object{"prompt": first.ID, "action": "continue"}))
	require.Equal(t, version, b.version(session))
}

// voltages walks to the step that asks for a set voltage, with good values
// for the rest.
func (b *bench) voltages() (session string, p prompt, values object) {
	session = b.practice()
	p = b.walk(session, at("voltage-mode.enter"))
	values = object{}
	for _, f := range p.Fields {
		values[f.Name] = f.Default
	}
	values["load_line"] = "level 3"
	return session, p, values
}

func TestA24ImpossibleVoltages(t *testing.T) {
	b := newBench(t)
	session, p, values := b.voltages()
	version := b.version(session)
	for _, wrong := range []string{"-1", "0", "99", "1e999", "-1e999", `"1.2"`, "true", "[]", "{}"} {
		values["set_voltage_v"] = json.RawMessage(wrong)
		body := object{"prompt": p.ID, "action": "entered", "values": values}
		if strings.Contains(wrong, "e999") { // json.Marshal would not write it
			values["set_voltage_v"] = 123456
			text, err := json.Marshal(body)
			require.NoError(t, err)
			got := refused(t, http.StatusUnprocessableEntity, b.call("POST", session+"/answers", bytes.Replace(text, []byte("123456"), []byte(wrong), 1)))
			requireNamed(t, got, wrong)
			continue
		}
		got := refused(t, http.StatusUnprocessableEntity, b.call("POST", session+"/answers", body))
		if wrong != "{}" { // not one of the four kinds of value at all
			requireNamed(t, got, wrong)
		}
	}
	refused(t, http.StatusUnprocessableEntity, b.call("POST", session+"/answers", []byte(`{"prompt":"`+p.ID+`","action":"entered","values":{"set_voltage_v":NaN}}`)))
	require.Equal(t, version, b.version(session))
	require.Equal(t, p.ID, b.prompt(session).ID)
}

// requireNamed wants the field, its range and its unit.
func requireNamed(t *testing.T, got problem, what string) {
	t.Helper()
	require.NotEmpty(t, got.Errors, "%s: %s", what, got.Detail)
	require.Equal(t, "set_voltage_v", got.Errors[0].Field, what)
	if what != `"1.2"` && what != "true" && what != "[]" { // another kind of value: the kind is named
		require.Regexp(t, `from .*[0-9.]+.* to [0-9.]+.V`, got.Errors[0].Message, what)
	}
}

func TestA25ImpossibleReadings(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	p := b.walk(session, func(p prompt) bool { return p.Trial })
	version := b.version(session)
	asked := map[string]bool{}
	for _, f := range p.Fields {
		asked[f.Name] = true
	}
	tried := 0
	for field, wrong := range map[string][]float64{
		"core_temp_c": {350, -300}, "score": {-1}, "minutes": {-1}, "package_power_w": {-5, 1e6}, "clock_mhz": {-1}, "load_voltage_v": {0, 99},
	} {
		if !asked[field] {
			continue
		}
		for _, x := range wrong {
			tried++
			values := object{}
			for _, f := range p.Fields {
				if f.Default != nil {
					values[f.Name] = f.Default
				}
			}
			values[field] = x
			for _, a := range p.Actions {
				if a.Name == "simulate" {
					continue
				}
				got := refused(t, http.StatusUnprocessableEntity, b.call("POST", session+"/answers", object{"prompt": p.ID, "action": a.Name, "values": values}))
				var named []string
				for _, e := range got.Errors {
					named = append(named, e.Field)
				}
				require.Contains(t, named, field, "%s %v", a.Name, x)
			}
		}
	}
	require.Greater(t, tried, 3)
	require.Equal(t, version, b.version(session))
}

const nasty = "<img src=x onerror=alert(1)> javascript:alert(1)"

func TestA26MarkupInATitleIsText(t *testing.T) {
	b := newBench(t)
	k := b.cookie()
	v := into[struct{ ID string }](t, http.StatusCreated, b.call("POST", "/api/v1/sessions", object{"title": nasty, "practice": object{"seed": 1}}))
	for _, path := range []string{"/", "/s/" + v.ID, "/s/" + v.ID + "/history", "/s/" + v.ID + "/sheet"} {
		got := b.page("GET", path, k, nil)
		require.Equal(t, http.StatusOK, got.Status, path)
		require.NotContains(t, string(got.Body), "<img src=x", path)
		require.Contains(t, string(got.Body), "&lt;img src=x", path)
	}
}

func TestA27FakeLogLines(t *testing.T) {
	var lines lockedBuffer
	b := newBench(t, func(c *httpapi.Config) { c.Log = slog.New(slog.NewTextHandler(&lines, nil)) })
	session := b.practice()
	for _, note := range []string{"ok\nlevel=ERROR msg=\"all is lost\"", "\x1b[2J", "a\u202eb", "a\x00b"} {
		got := refused(t, http.StatusUnprocessableEntity, b.call("POST", session+"/say", object{"text": note}))
		require.Equal(t, "text", got.Errors[0].Field)
		require.NotContains(t, got.Detail, note)
	}
	require.Empty(t, lines.String())
	b.server.Echo().GET("/api/v1/panic", panics)
	require.Equal(t, http.StatusInternalServerError, b.call("GET", "/api/v1/panic", nil).Status)
	for line := range strings.Lines(lines.String()) {
		require.True(t, strings.HasPrefix(line, "time="), "every line is a record: %q", line)
		require.NotContains(t, line, "\x1b")
	}
	require.Equal(t, 2, strings.Count(lines.String(), "level=ERROR"), "%s", lines.String())
}

func TestA28LongNotes(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	require.Equal(t, http.StatusRequestEntityTooLarge, b.call("POST", session+"/say", object{"text": strings.Repeat("a", 1<<20)}).Status)
	require.Equal(t, http.StatusUnprocessableEntity, b.call("POST", session+"/say", object{"text": "e" + strings.Repeat("\u0301", 10_000)}).Status)
	require.Equal(t, http.StatusUnprocessableEntity, b.call("PATCH", session, object{"title": strings.Repeat("a", 81)}).Status)
	require.Equal(t, http.StatusOK, b.call("PATCH", session, object{"title": strings.Repeat("\u00fc", 80)}).Status, "lengths count characters, not bytes")
}

func TestA31QuotesAndPatternsAreLiteral(t *testing.T) {
	b := newBench(t)
	odd := `'; DROP TABLE event; -- % _ \ "`
	session := b.practice()
	b.practice()
	require.Equal(t, http.StatusOK, b.call("PATCH", session, object{"title": odd}).Status)
	var list []struct{ ID, Title string }
	require.NoError(t, json.Unmarshal(b.call("GET", "/api/v1/sessions", nil).Body, &list))
	require.Len(t, list, 2)
	titles := []string{list[0].Title, list[1].Title}
	require.ElementsMatch(t, []string{odd, "Practice"}, titles)
	for _, id := range []string{"%", "_1", "s%", "s1' OR '1'='1", `s1"`, "s1;"} {
		require.Equal(t, http.StatusNotFound, b.call("DELETE", "/api/v1/sessions/"+url.PathEscape(id), nil).Status, id)
	}
	require.NoError(t, json.Unmarshal(b.call("GET", "/api/v1/sessions", nil).Body, &list))
	require.Len(t, list, 2)
}

func TestA32ForeignImports(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	whole := b.call("GET", session+"/export", nil).Body
	take := func(body []byte) reply { return b.call("POST", "/api/v1/sessions/import", body) }
	require.Equal(t, "conflict", refused(t, http.StatusConflict, take(whole)).Code, "it is there already")
	require.Equal(t, http.StatusNoContent, b.call("DELETE", session, nil).Status)
	newer := bytes.Replace(whole, []byte(`"version":1,"flow"`), []byte(`"version":2,"flow"`), 1)
	require.NotEqual(t, whole, newer)
	require.Contains(t, refused(t, http.StatusUnprocessableEntity, take(newer)).Detail, "newer Belay")
	changed := bytes.Replace(whole, []byte(`"title":"Practice"`), []byte(`"title":"Changed!"`), 1)
	changed = bytes.Replace(changed, []byte(`\"title\":\"Practice\"`), []byte(`\"title\":\"Changed!\"`), 1)
	require.NotEqual(t, whole, changed)
	require.Equal(t, "corrupt", into[problem](t, http.StatusInternalServerError, take(changed)).Code)
	for _, body := range []string{"", "{}", "[]", "null", "belay", `{"format":"belay-session"}`, string(whole[:len(whole)/2])} {
		require.Equal(t, http.StatusUnprocessableEntity, take([]byte(body)).Status, body)
	}
	require.Equal(t, "[]\n", b.sessions())
	require.Equal(t, http.StatusCreated, take(whole).Status)
}

func TestA35PanicInAHandler(t *testing.T) {
	var lines lockedBuffer
	b := newBench(t, func(c *httpapi.Config) { c.Log = slog.New(slog.NewTextHandler(&lines, nil)) })
	session := b.practice()
	version := b.version(session)
	b.server.Echo().GET("/api/v1/panic", panics)
	b.server.Echo().GET("/panic", panics)
	got := into[struct{ Code, Detail, Next, Instance string }](t, http.StatusInternalServerError, b.call("GET", "/api/v1/panic", nil))
	require.Equal(t, "internal", got.Code)
	require.NotContains(t, got.Detail+got.Next, "on purpose")
	id, ok := strings.CutPrefix(got.Instance, "urn:belay:incident:")
	require.True(t, ok, got.Instance)
	require.Contains(t, lines.String(), "incident="+id)
	require.Contains(t, lines.String(), "on purpose")

	r := b.request("GET", "/panic", nil)
	r.Header.Set("Accept", "text/html")
	page := b.do(r)
	require.Equal(t, http.StatusInternalServerError, page.Status)
	require.Contains(t, string(page.Body), "urn:belay:incident:")
	require.NotContains(t, string(page.Body), "on purpose")

	b.server.Echo().HTTPErrorHandler = func(error, echo.Context) { panic("in the answer to an error") }
	last := b.call("GET", "/api/v1/none", nil)
	require.Equal(t, http.StatusInternalServerError, last.Status)
	require.Contains(t, string(last.Body), "Its number is ")
	require.NotContains(t, string(last.Body), "in the answer")
	require.Contains(t, last.Header.Get("Content-Security-Policy"), "default-src 'none'")

	require.Equal(t, http.StatusOK, b.call("GET", "/api/v1/health", nil).Status, "the server lives, the store is sound")
	require.Equal(t, version, b.version(session))
}

func TestIdempotencyKeysAreShort(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	p := b.prompt(session)
	for _, key := range []string{"", strings.Repeat("k", 129), "two words", "caf\u00e9"} {
		r := b.request("POST", session+"/answers", object{"prompt": p.ID, "action": "continue"})
		r.Header["Idempotency-Key"] = []string{key}
		require.Equal(t, "invalid", refused(t, http.StatusUnprocessableEntity, b.do(r)).Code, "%q", key)
	}
	r := b.request("POST", session+"/answers", object{"prompt": p.ID, "action": "continue"})
	r.Header["Idempotency-Key"] = []string{"one", "two"}
	refused(t, http.StatusUnprocessableEntity, b.do(r))
	require.Equal(t, p.ID, b.prompt(session).ID)
	b.twice(session, "/answers", strings.Repeat("k", 128), object{"prompt": p.ID, "action": "continue"})
}
