package page

import (
	"bytes"
	"context"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"belay/internal/assist"
	"belay/internal/fault"
	"belay/internal/sample"
	"belay/internal/sensorlog"
	"belay/internal/session"
)

// LogFor knows trial 1 of every session.
func (g *fakeGuide) LogFor(ctx context.Context, id string, n int) (session.View, error) {
	if n != 1 {
		return session.View{}, fault.New(fault.NotFound, "This session has no such trial.", "List the trials.")
	}
	return g.View(ctx, id)
}

// HoldLog keeps one log, under the key k.
func (g *fakeGuide) HoldLog(r io.Reader) (string, error) {
	body, err := io.ReadAll(r)
	g.held = body
	return "k", err
}

// AttachLog attaches where columns are named, and looks otherwise.
func (g *fakeGuide) AttachLog(_ context.Context, _ string, req assist.LogRequest) (assist.LogResult, error) {
	if req.Held != "k" {
		return assist.LogResult{}, fault.New(fault.NotFound, "This log is not here any more.", "Choose the file again.")
	}
	by := sensorlog.Guessed
	if req.Columns != nil {
		by = sensorlog.As(*req.Columns)
	}
	log, err := sensorlog.Read(bytes.NewReader(g.held), by)
	if err != nil {
		return assist.LogResult{}, err
	}
	if req.Columns != nil {
		g.attached = req
	}
	return assist.LogResult{
		Attached: req.Columns != nil, Layout: log.Layout, Columns: log.Layout.Guess, Reduced: log.Series.Reduce(sample.Want{}),
	}, nil
}

const shortLog = "Time,Vcore [V],CPU Package [°C],Odd <b>name</b>,Sensor 7\n" +
	"10:00:00,1.200,70,5,1\n10:00:01,1.201,71,6,2\n10:00:02,1.202,72,7,3\n10:00:03,1.202,72,7,4\n"

// sendFile posts a file as a browser does.
func sendFile(t *testing.T, g *fakeGuide, path, name, body string) *doc {
	t.Helper()
	var form bytes.Buffer
	w := multipart.NewWriter(&form)
	part, err := w.CreateFormFile("file", name)
	require.NoError(t, err)
	_, err = io.WriteString(part, body)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	r := httptest.NewRequest(http.MethodPost, path, &form)
	r.Header.Set("Content-Type", w.FormDataContentType())
	rec := httptest.NewRecorder()
	serve(t, g).ServeHTTP(rec, r)
	root, err := html.Parse(bytes.NewReader(rec.Body.Bytes()))
	require.NoError(t, err)
	return &doc{t, rec.Code, rec.Header(), rec.Body.String(), root}
}

// sound holds a page to what every page has to keep.
func (d *doc) sound() {
	d.requireNoInline()
	d.requireUniqueIDs()
	d.requireLabels()
	d.requireHeadingOrder()
	d.requireForms()
}

func TestALogIsAskedFor(t *testing.T) {
	d := get(t, serve(t, scenes()), "/s/trial/trials/1/log")
	require.Equal(t, http.StatusOK, d.status)
	d.sound()
	require.NotNil(t, d.id("file"))
	require.Equal(t, http.StatusNotFound, get(t, serve(t, scenes()), "/s/trial/trials/9/log").status)
	require.Equal(t, http.StatusNotFound, get(t, serve(t, scenes()), "/s/trial/trials/x/log").status)
}

func TestColumnsAreConfirmedOnce(t *testing.T) {
	g := scenes()
	d := sendFile(t, g, "/s/trial/trials/1/log", "bench.csv", shortLog)
	require.Equal(t, http.StatusOK, d.status)
	d.sound()
	require.Contains(t, d.raw, "<dd>1.202", "what the columns would say")
	require.NotContains(t, d.raw, "<b>name</b>", "a heading is never markup")
	chosen := map[string]string{}
	for _, s := range d.tag("select") {
		for n := s.FirstChild; n != nil; n = n.NextSibling {
			if has(n, "selected") {
				chosen[attr(s, "name")] = attr(n, "value")
			}
		}
	}
	require.Equal(t, map[string]string{"time": "Time", "use:Vcore [V]": "load_voltage_v", "use:CPU Package [°C]": "core_temp_c"}, chosen)

	form := url.Values{"held": {"k"}, "name": {"bench.csv"}, "time": {"Time"}, "use:Vcore [V]": {"load_voltage_v"}, "use:Sensor 7": {""}}
	d = post(t, serve(t, g), "/s/trial/trials/1/log/columns", form)
	require.Equal(t, http.StatusSeeOther, d.status)
	require.Equal(t, sensorlog.Mapping{Time: "Time", Columns: map[string][]string{"load_voltage_v": {"Vcore [V]"}}}, *g.attached.Columns)

	delete(form, "use:Vcore [V]")
	d = post(t, serve(t, g), "/s/trial/trials/1/log/columns", form)
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
	d.sound()
	require.Contains(t, d.raw, "Choose at least one column.")
	require.NotEmpty(t, d.named("held"), "the log is still there")

	form.Set("held", "gone")
	d = post(t, serve(t, g), "/s/trial/trials/1/log/columns", form)
	require.Contains(t, d.raw, "Choose the file again.")
}

func TestAFileThatIsNoLogIsRefused(t *testing.T) {
	d := sendFile(t, scenes(), "/s/trial/trials/1/log", "letter.txt", "Dear reader\n")
	require.Equal(t, http.StatusUnprocessableEntity, d.status)
	d.sound()
	require.Contains(t, d.raw, "The log holds no table of readings.")
	require.NotNil(t, d.id("file"), "another one can be chosen")
	d = sendFile(t, scenes(), "/s/trial/trials/1/log", "", "")
	require.Contains(t, d.raw, "Choose a file.")
	d = post(t, serve(t, scenes()), "/s/trial/trials/1/log", url.Values{"file": {"x"}})
	require.GreaterOrEqual(t, d.status, 400)
}

func TestWhereAValueWasReadIsShown(t *testing.T) {
	g := scenes()
	p := manyKinds()
	for i := range p.Fields {
		if p.Fields[i].Kind == "number" {
			p.Fields[i].Default, p.Fields[i].Source = 8.0, "proc/cpuinfo"
			break
		}
	}
	g.sessions["trial"].prompts = []session.Prompt{p}
	g.sessions["trial"].at = 0
	body := strings.ReplaceAll(get(t, serve(t, g), "/s/trial").raw, "\u00a0", " ")
	require.Contains(t, body, "Filled in from: proc/cpuinfo.")
}
