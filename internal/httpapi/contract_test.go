package httpapi_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/legacy"
	"github.com/stretchr/testify/require"

	"belay/api"
)

func plainText(body io.Reader, _ http.Header, _ *openapi3.SchemaRef, _ openapi3filter.EncodingFn) (any, error) {
	text, err := io.ReadAll(body)
	return string(text), err
}

// contract checks what goes over the wire against the contract.
type contract struct {
	*bench
	router routers.Router
	seen   map[string]bool // operations that were answered with success
}

func loadContract(t *testing.T) *openapi3.T {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData(api.OpenAPI)
	require.NoError(t, err)
	require.NoError(t, doc.Validate(t.Context()))
	return doc
}

func newContract(t *testing.T) *contract {
	for _, media := range []string{"text/html", "text/markdown", "text/csv", "image/svg+xml", "application/pdf"} {
		openapi3filter.RegisterBodyDecoder(media, plainText)
	}
	router, err := legacy.NewRouter(loadContract(t))
	require.NoError(t, err)
	return &contract{newBench(t), router, map[string]bool{}}
}

func authenticated(_ context.Context, in *openapi3filter.AuthenticationInput) error {
	if in.RequestValidationInput.Request.Header.Get("Authorization") != "Bearer "+token {
		return errors.New("no token")
	}
	return nil
}

// call sends a request and checks it and the reply.
func (c *contract) call(method, path string, body any) reply {
	c.t.Helper()
	return c.check(c.request(method, path, body))
}

func (c *contract) check(r *http.Request) reply {
	c.t.Helper()
	local := r.Clone(r.Context())
	local.URL.Scheme, local.URL.Host, local.Host = "", "", ""
	if r.GetBody != nil {
		body, err := r.GetBody()
		require.NoError(c.t, err)
		local.Body = body
	}
	route, params, err := c.router.FindRoute(local)
	require.NoError(c.t, err, "%s %s", r.Method, r.URL.Path)
	in := &openapi3filter.RequestValidationInput{
		Request: local, PathParams: params, Route: route,
		Options: &openapi3filter.Options{AuthenticationFunc: authenticated, IncludeResponseStatus: true},
	}
	require.NoError(c.t, openapi3filter.ValidateRequest(r.Context(), in), "%s %s", r.Method, r.URL.Path)
	got := c.do(r)
	require.NoError(c.t, c.valid(in, got), "%s %s: %s", r.Method, r.URL.Path, got.Body)
	if got.Status < 300 {
		c.seen[route.Operation.OperationID] = true
	}
	return got
}

func (c *contract) valid(in *openapi3filter.RequestValidationInput, got reply) error {
	return openapi3filter.ValidateResponse(c.t.Context(), &openapi3filter.ResponseValidationInput{
		RequestValidationInput: in, Status: got.Status, Header: got.Header,
		Body: io.NopCloser(bytes.NewReader(got.Body)), Options: in.Options,
	})
}

// fixed are the GETs whose answer does not change with a session.
var fixed = []string{"/api/v1/openapi.yaml", "/api/v1/flows", "/api/v1/flows/desktop"}

// look calls every other GET but the stream.
func (c *contract) look(session string) {
	c.t.Helper()
	for _, path := range []string{
		"/api/v1/health", "/api/v1/sessions",
		session, session + "/prompt", session + "/history", session + "/trials", session + "/evidence",
		session + "/sheet", session + "/sheet?format=html", session + "/sheet?format=pdf", session + "/sheet?format=md", session + "/sheet?format=csv",
		session + "/sheet?format=json", session + "/export",
		session + "/card", session + "/outlook", session + "/charts/need.svg", session + "/charts/heat.svg", session + "/charts/gain.svg", session + "/charts/timeline.svg",
	} {
		require.Equal(c.t, http.StatusOK, c.call("GET", path, nil).Status, path)
	}
}

func TestPracticeSessionKeepsTheContract(t *testing.T) {
	c := newContract(t)
	for _, path := range fixed {
		require.Equal(t, http.StatusOK, c.call("GET", path, nil).Status, path)
	}
	require.Equal(t, "[]\n", string(c.call("GET", "/api/v1/sessions", nil).Body), "an empty list is a list")
	started := c.call("POST", "/api/v1/sessions", object{"flow": "desktop", "title": "Walk", "practice": object{"seed": 7, "variant": "own"}})
	require.Equal(t, http.StatusCreated, started.Status)
	session := started.Header.Get("Location")
	c.calculate()

	visits := map[string]int{}
	trials := 0
	for range 25 {
		c.look(session)
		p := into[prompt](t, http.StatusOK, c.call("GET", session+"/prompt", nil))
		path, body := session+"/answers", any(answerTo(p, visits))
		if p.Trial && trials == 0 {
			path, body = session+"/trials", nil
			trials++
		}
		require.Equal(t, http.StatusOK, c.call("POST", path, body).Status, "%s", p.State)
	}
	c.look(session)
	require.Equal(t, 1, trials, "the walk has to reach a trial")
	c.attach(session)
	c.look(session)

	for text, kind := range map[string]string{"where am I": "place", "why": "help", "load line": "glossary", "zzz": "unknown"} {
		got := into[struct{ Kind string }](t, http.StatusOK, c.call("POST", session+"/say", object{"text": text}))
		require.Equal(t, kind, got.Kind, text)
	}
	require.Equal(t, http.StatusOK, c.call("POST", session+"/undo", nil).Status)
	require.Equal(t, http.StatusOK, c.call("PATCH", session, object{"title": "Another"}).Status)

	c.liveTrial()
	c.pair()
	file := c.call("GET", session+"/export", nil).Body
	require.Equal(t, http.StatusConflict, c.call("POST", "/api/v1/sessions/import", file).Status)
	require.Equal(t, http.StatusNoContent, c.call("DELETE", session, nil).Status)
	for _, path := range []string{"", "/prompt", "/history", "/trials", "/evidence", "/sheet", "/export", "/stream"} {
		require.Equal(t, http.StatusNotFound, c.call("GET", session+path, nil).Status, path)
	}
	require.Equal(t, http.StatusCreated, c.call("POST", "/api/v1/sessions/import", file).Status)
	require.Equal(t, file, c.call("GET", session+"/export", nil).Body)
	c.look(session)

	id := strings.TrimPrefix(session, "/api/v1/sessions/")
	other := strings.TrimPrefix(c.practice(), "/api/v1/sessions/")
	side := into[struct{ Sessions []struct{ ID string } }](t, http.StatusOK, c.call("GET", "/api/v1/compare?ids="+id+","+other, nil))
	require.Len(t, side.Sessions, 2)
	require.Equal(t, id, side.Sessions[0].ID)
	require.Equal(t, http.StatusUnprocessableEntity, c.call("GET", "/api/v1/compare?ids="+id, nil).Status)
	require.Equal(t, http.StatusUnprocessableEntity, c.call("GET", "/api/v1/compare?ids="+id+","+id, nil).Status)

	for path, item := range loadContract(t).Paths.Map() {
		for method, op := range item.Operations() {
			if op.OperationID != "stream" { // it does not end by itself
				require.True(t, c.seen[op.OperationID], "%s %s was never answered", method, path)
			}
		}
	}
}

// TestFinishedSessionKeepsTheContract goes to the sheet, where keep, fits and
// gains are known.
func TestFinishedSessionKeepsTheContract(t *testing.T) {
	c := newContract(t)
	session := c.practice()
	visits := map[string]int{}
	p := c.prompt(session)
	for n := 0; !p.Finished; n++ {
		require.Less(t, n, 300, "now at %s", p.State)
		p = into[result](t, http.StatusOK, c.call("POST", session+"/answers", answerTo(p, visits))).Prompt
	}
	c.look(session)
	v := into[struct {
		Keep     *object
		Evidence map[string]any
	}](t, http.StatusOK, c.call("GET", session, nil))
	require.NotNil(t, v.Keep)
	for _, part := range []string{"keep", "heat", "load_line", "gains"} {
		require.NotNil(t, v.Evidence[part], part)
	}
	require.NotEmpty(t, v.Evidence["need"])
}

// TestContractCheckSeesBreaches plants replies that break the contract.
func TestContractCheckSeesBreaches(t *testing.T) {
	c := newContract(t)
	r := c.request("GET", "/api/v1/health", nil)
	r.URL.Scheme, r.URL.Host, r.Host = "", "", ""
	route, params, err := c.router.FindRoute(r)
	require.NoError(t, err)
	in := &openapi3filter.RequestValidationInput{
		Request: r, PathParams: params, Route: route, Options: &openapi3filter.Options{IncludeResponseStatus: true},
	}
	header := http.Header{"Content-Type": {"application/json"}}
	sound := `{"version":"1","schema_version":1,"integrity":"ok","notices":[],"read_back":"disk","uptime_s":1`
	require.NoError(t, c.valid(in, reply{http.StatusOK, header, []byte(sound + "}")}))
	for name, body := range map[string]string{
		"unknown key": sound + `,"more":1}`, "missing key": `{"version":"1"}`, "wrong type": strings.Replace(sound, `"ok"`, "1", 1) + "}",
	} {
		require.Error(t, c.valid(in, reply{http.StatusOK, header, []byte(body)}), name)
	}
	require.Error(t, c.valid(in, reply{http.StatusConflict, header, []byte(sound + "}")}), "an error is a problem document")
}

var parameter = regexp.MustCompile(`:([a-z]+)`)

func TestRoutesAndContractAgree(t *testing.T) {
	var served, written []string
	for _, r := range newBench(t).server.Echo().Routes() {
		if path, ok := strings.CutPrefix(r.Path, "/api/v1"); ok && r.Name != "method not allowed" {
			served = append(served, r.Method+" "+parameter.ReplaceAllString(path, "{$1}"))
		}
	}
	for path, item := range loadContract(t).Paths.Map() {
		for method := range item.Operations() {
			written = append(written, method+" "+path)
		}
	}
	slices.Sort(served)
	slices.Sort(written)
	require.Equal(t, served, written)
	require.Greater(t, len(served), 20)
}
