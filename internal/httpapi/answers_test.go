package httpapi_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
)

func at(state string) func(prompt) bool { return func(p prompt) bool { return p.State == state } }

func TestA21StaleAnswerGetsThePresentPrompt(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	first := b.prompt(session)
	next := into[result](t, http.StatusOK, b.call("POST", session+"/answers", object{"prompt": first.ID, "action": "continue"})).Prompt
	version := b.version(session)

	p := refused(t, http.StatusConflict, b.call("POST", session+"/answers", object{"prompt": first.ID, "action": "continue"}))
	require.Equal(t, "conflict", p.Code)
	require.NotNil(t, p.Prompt)
	require.Equal(t, next, *p.Prompt)
	require.NotEqual(t, first.ID, p.Prompt.ID)

	p = refused(t, http.StatusConflict, b.call("POST", session+"/answers", object{"prompt": first.ID, "action": "simulate"}))
	require.Equal(t, next.ID, p.Prompt.ID)
	p = refused(t, http.StatusConflict, b.call("POST", session+"/trials", nil))
	require.Equal(t, next.ID, p.Prompt.ID, "no trial is due here")
	require.Equal(t, version, b.version(session))
}

// twice sends the same request again, later too, and wants one result.
func (b *bench) twice(session, path, key string, body any) {
	b.t.Helper()
	send := func() reply {
		r := b.request("POST", session+path, body)
		r.Header.Set("Idempotency-Key", key)
		return b.do(r)
	}
	once := send()
	require.Equal(b.t, http.StatusOK, once.Status, "%s", once.Body)
	version := b.version(session)
	for range 2 {
		again := send()
		require.Equal(b.t, http.StatusOK, again.Status, "%s", again.Body)
		require.JSONEq(b.t, string(once.Body), string(again.Body))
	}
	require.Equal(b.t, version, b.version(session), "one request, one answer")
}

func TestA22SameKeySameResult(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	p := b.prompt(session)
	b.twice(session, "/answers", "first", object{"prompt": p.ID, "action": "continue"})
	b.twice(session, "/undo", "back", nil)
	require.Equal(t, p.State, b.prompt(session).State, "undone once, not three times")

	p = b.walk(session, func(p prompt) bool { return p.Trial })
	b.twice(session, "/trials", "run", nil)
	require.NotEqual(t, p.ID, b.prompt(session).ID)
	trials := into[[]object](t, http.StatusOK, b.call("GET", session+"/trials", nil))
	require.Len(t, trials, 1)
}

func TestOutOfRangeValuesAreNamed(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	p := b.walk(session, at("rig.describe"))
	version := b.version(session)
	got := refused(t, http.StatusUnprocessableEntity, b.call("POST", session+"/answers",
		object{"prompt": p.ID, "action": "continue", "values": object{"core_count": 1000, "stock_ratio": 43, "temp_limit_c": "hot"}}))
	require.Equal(t, "invalid", got.Code)
	var fields []string
	for _, e := range got.Errors {
		require.NotEmpty(t, e.Message)
		fields = append(fields, e.Field)
	}
	require.ElementsMatch(t, []string{"core_count", "temp_limit_c"}, fields)
	require.Equal(t, version, b.version(session))

	got = refused(t, http.StatusUnprocessableEntity, b.call("POST", session+"/answers", object{"prompt": p.ID, "action": "dance"}))
	require.Contains(t, got.Detail, "dance")
	got = refused(t, http.StatusUnprocessableEntity, b.call("POST", session+"/answers",
		object{"prompt": p.ID, "action": "continue", "values": object{"core_count": object{"a": 1}}}))
	require.Equal(t, "invalid", got.Code)
	require.Equal(t, version, b.version(session))
}

func TestVoltageAboveTheLimitIsUnsafe(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	p := b.walk(session, at("voltage-mode.enter"))
	values := object{}
	for _, f := range p.Fields {
		values[f.Name] = f.Default
	}
	values["load_line"] = "level 3"
	values["set_voltage_v"] = 1.5 // the platform file allows 1.35 V plus 0.06 V
	version := b.version(session)
	got := refused(t, http.StatusUnprocessableEntity, b.call("POST", session+"/answers",
		object{"prompt": p.ID, "action": "entered", "values": values}))
	require.Equal(t, "unsafe", got.Code)
	require.NotEmpty(t, got.Errors)
	require.Equal(t, "set_voltage_v", got.Errors[0].Field)
	require.Equal(t, version, b.version(session))
	require.Equal(t, p.ID, b.prompt(session).ID)
}

func TestUndo(t *testing.T) {
	b := newBench(t)
	session := b.practice()
	require.Equal(t, "conflict", refused(t, http.StatusConflict, b.call("POST", session+"/undo", nil)).Code, "nothing was answered yet")
	first := b.prompt(session)
	into[result](t, http.StatusOK, b.call("POST", session+"/answers", object{"prompt": first.ID, "action": "continue"}))
	version := b.version(session)
	undone := into[result](t, http.StatusOK, b.call("POST", session+"/undo", nil))
	require.Equal(t, first.State, undone.Prompt.State)
	require.Equal(t, version+1, undone.Version, "the log only grows")
	history := into[[]struct{ Superseded bool }](t, http.StatusOK, b.call("GET", session+"/history", nil))
	taken := 0
	for _, e := range history {
		if e.Superseded {
			taken++
		}
	}
	require.Positive(t, taken)
}
