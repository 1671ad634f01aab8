package httpapi_test

import (
	"bytes"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// benchLog is an invented log of a minute of load between rests.
func benchLog(heading string) []byte {
	var b strings.Builder
	b.WriteString(heading + "\n")
	for i := range 80 {
		v, temp, p, clock := 0.8, 35, 12, 1200
		if i >= 10 && i < 70 {
			v, temp, p, clock = 1.0875, 66, 101, 4000
		}
		fmt.Fprintf(&b, "10:00:%02d;%.4f;%d;%d;%d\n", i%60, v, temp, p, clock)
	}
	return []byte(strings.ReplaceAll(b.String(), ".", ","))
}

const benchHeading = "Time;Vcore [V];CPU Package [°C];CPU Package Power [W];Core Clock [MHz]"

// logReply is the part of the answer that the tests look at.
type logReply struct {
	Attached, Remembered bool
	Columns              struct{ Columns map[string][]string }
	Reduced              map[string]any
	Trial                *struct {
		Readings map[string]any
		Sources  map[string]string
	}
}

func (c *contract) sendLog(path, media string, body []byte) reply {
	c.t.Helper()
	r := c.request("POST", path, body)
	r.Header.Set("Content-Type", media)
	return c.check(r)
}

// attach goes the whole way of a log with trial 1.
func (c *contract) attach(session string) {
	c.t.Helper()
	path := session + "/trials/1/log"
	first := into[logReply](c.t, http.StatusOK, c.sendLog(path, "text/csv", benchLog(benchHeading)))
	require.False(c.t, first.Attached, "an unknown heading is only looked at")
	require.Equal(c.t, []string{"Vcore [V]"}, first.Columns.Columns["load_voltage_v"])
	require.Nil(c.t, first.Trial)

	query := url.Values{"confirm": {"true"}, "name": {"../../bench one.csv"}}
	second := into[logReply](c.t, http.StatusOK, c.sendLog(path+"?"+query.Encode(), "text/csv", benchLog(benchHeading)))
	require.True(c.t, second.Attached)
	require.InDelta(c.t, 1.0875, second.Trial.Readings["load_voltage_v"], 1e-9)
	require.InDelta(c.t, 66, second.Trial.Readings["core_temp_c"], 1e-9)
	require.InDelta(c.t, 101, second.Trial.Readings["package_power_w"], 1e-9)
	require.Equal(c.t, "log bench one.csv", second.Trial.Sources["core_temp_c"])

	third := into[logReply](c.t, http.StatusOK, c.sendLog(path, "text/csv", benchLog(strings.ToUpper(benchHeading))))
	require.True(c.t, third.Attached && third.Remembered, "case does not matter")
	again := into[logReply](c.t, http.StatusOK, c.sendLog(path, "application/octet-stream", benchLog(benchHeading)))
	require.True(c.t, again.Attached && again.Remembered, "confirmed once, remembered by the heading")
}

func TestLogOverTheWire(t *testing.T) {
	c := newContract(t)
	session := c.practice()
	visits := map[string]int{}
	p := c.prompt(session)
	for !p.Trial {
		p = into[result](t, http.StatusOK, c.call("POST", session+"/answers", answerTo(p, visits))).Prompt
	}
	// The trial runs: its readings are filled in where its outcome is asked.
	var form bytes.Buffer
	w := multipart.NewWriter(&form)
	part, err := w.CreateFormFile("file", "run.csv")
	require.NoError(t, err)
	_, err = part.Write(benchLog(benchHeading))
	require.NoError(t, err)
	require.NoError(t, w.Close())
	columns := `{"time":"Time","columns":{"core_temp_c":["CPU Package [°C]"],"load_voltage_v":["Vcore [V]"]}}`
	r := c.request("POST", session+"/trials/1/log?columns="+url.QueryEscape(columns), form.Bytes())
	r.Header.Set("Content-Type", w.FormDataContentType())
	r.Header.Set("Idempotency-Key", "k1")
	got := into[logReply](t, http.StatusOK, c.do(r))
	require.True(t, got.Attached)
	require.Nil(t, got.Trial, "its outcome is not known yet")
	for _, f := range c.prompt(session).Fields {
		if f.Name == "core_temp_c" {
			require.InDelta(t, 66, f.Default, 1e-9)
		}
	}
	for name, x := range map[string]struct {
		path, media, body string
		status            int
	}{
		"no such trial":   {session + "/trials/7/log", "text/csv", benchHeading, http.StatusNotFound},
		"no number":       {session + "/trials/x/log", "text/csv", benchHeading, http.StatusNotFound},
		"no log":          {session + "/trials/1/log", "text/csv", "hello\n", http.StatusUnprocessableEntity},
		"no such columns": {session + "/trials/1/log?columns=" + url.QueryEscape(`{"columns":{"core_temp_c":["x"]}}`), "text/csv", string(benchLog(benchHeading)), http.StatusUnprocessableEntity},
		"no such session": {"/api/v1/sessions/none/trials/1/log", "text/csv", benchHeading, http.StatusNotFound},
		"JSON":            {session + "/trials/1/log", "application/json", "{}", http.StatusUnsupportedMediaType},
	} {
		r := c.request("POST", x.path, []byte(x.body))
		r.Header.Set("Content-Type", x.media)
		require.Equal(t, x.status, c.do(r).Status, name)
	}
}

func TestValuesOfThisPCAreOffered(t *testing.T) {
	b := newBench(t)
	defaults := func(body object) map[string]any {
		made := into[struct{ ID string }](t, http.StatusCreated, b.call("POST", "/api/v1/sessions", body))
		path := "/api/v1/sessions/" + made.ID
		visits := map[string]int{}
		for range 20 {
			p := b.prompt(path)
			out := map[string]any{}
			for _, f := range p.Fields {
				if f.Default != nil {
					out[f.Name] = f.Default
				}
			}
			if p.State == "rig.describe" {
				return out
			}
			_ = into[result](t, http.StatusOK, b.call("POST", path+"/answers", answerTo(p, visits)))
		}
		t.Fatal("the walk has to reach the description of the PC")
		return nil
	}
	here := defaults(object{"title": "here"})
	require.InDelta(t, 8, here["core_count"], 0)
	require.Equal(t, "F12", here["firmware_version"])
	require.Empty(t, defaults(object{"title": "there", "other_pc": true}), "nothing of this PC is offered for another one")
	require.Empty(t, defaults(object{"title": "game", "practice": object{"seed": 1}}), "nor for a simulated one")
}
