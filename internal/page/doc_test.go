package page

import (
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
)

// doc is a parsed answer of the server.
type doc struct {
	t      *testing.T
	status int
	header http.Header
	raw    string
	root   *html.Node
}

func serve(t *testing.T, g Guide) *echo.Echo {
	t.Helper()
	e := echo.New()
	require.NoError(t, Register(e, g))
	return e
}

func fetch(t *testing.T, e *echo.Echo, method, path string, form url.Values) *doc {
	t.Helper()
	req := httptest.NewRequest(method, path, strings.NewReader(form.Encode()))
	if form != nil {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	rec := httptest.NewRecorder()
	e.ServeHTTP(rec, req)
	body, err := io.ReadAll(rec.Body)
	require.NoError(t, err)
	root, err := html.Parse(strings.NewReader(string(body)))
	require.NoError(t, err)
	return &doc{t, rec.Code, rec.Header(), string(body), root}
}

func get(t *testing.T, e *echo.Echo, path string) *doc {
	t.Helper()
	return fetch(t, e, http.MethodGet, path, nil)
}

func post(t *testing.T, e *echo.Echo, path string, form url.Values) *doc {
	t.Helper()
	return fetch(t, e, http.MethodPost, path, form)
}

// all returns the elements for which match holds, in document order.
func (d *doc) all(match func(*html.Node) bool) []*html.Node {
	var out []*html.Node
	for n := range d.root.Descendants() {
		if n.Type == html.ElementNode && match(n) {
			out = append(out, n)
		}
	}
	return out
}

func attr(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func has(n *html.Node, name string) bool {
	for _, a := range n.Attr {
		if a.Key == name {
			return true
		}
	}
	return false
}

func hasClass(n *html.Node, class string) bool {
	for _, c := range strings.Fields(attr(n, "class")) {
		if c == class {
			return true
		}
	}
	return false
}

func (d *doc) class(name string) []*html.Node {
	return d.all(func(n *html.Node) bool { return hasClass(n, name) })
}

func (d *doc) named(name string) []*html.Node {
	return d.all(func(n *html.Node) bool { return attr(n, "name") == name })
}

func (d *doc) tag(name string) []*html.Node {
	return d.all(func(n *html.Node) bool { return n.Data == name })
}

func (d *doc) id(id string) *html.Node {
	d.t.Helper()
	found := d.all(func(n *html.Node) bool { return attr(n, "id") == id })
	require.Len(d.t, found, 1, "elements with id "+id)
	return found[0]
}

// text is the text of an element with single spaces.
func text(n *html.Node) string {
	var b strings.Builder
	for c := range n.Descendants() {
		if c.Type == html.TextNode {
			b.WriteString(c.Data + " ")
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

func texts(nodes []*html.Node) []string {
	out := make([]string, 0, len(nodes))
	for _, n := range nodes {
		out = append(out, text(n))
	}
	return out
}

func (d *doc) requireNoInline() {
	for _, n := range d.all(func(*html.Node) bool { return true }) {
		require.False(d.t, has(n, "style"), "style on "+n.Data)
		for _, a := range n.Attr {
			require.False(d.t, strings.HasPrefix(a.Key, "on"), a.Key)
			if a.Key == "href" || a.Key == "src" || a.Key == "action" {
				require.Regexp(d.t, `^[/#]`, a.Val, "only own addresses")
			}
		}
		if n.Data == "script" {
			require.NotEmpty(d.t, attr(n, "src"))
			require.Nil(d.t, n.FirstChild)
		}
		require.NotEqual(d.t, "style", n.Data)
	}
}

func (d *doc) requireUniqueIDs() {
	seen := map[string]bool{}
	for _, n := range d.all(func(n *html.Node) bool { return has(n, "id") }) {
		require.False(d.t, seen[attr(n, "id")], "twice: "+attr(n, "id"))
		seen[attr(n, "id")] = true
	}
	for _, n := range d.all(func(*html.Node) bool { return true }) {
		for _, key := range []string{"for", "aria-describedby", "aria-labelledby"} {
			for _, id := range strings.Fields(attr(n, key)) {
				require.True(d.t, seen[id], key+" points nowhere: "+id)
			}
		}
		if href := attr(n, "href"); strings.HasPrefix(href, "#") {
			require.True(d.t, seen[href[1:]], "link points nowhere: "+href)
		}
	}
}

func (d *doc) requireLabels() {
	labelled := map[string]bool{}
	for _, n := range d.tag("label") {
		labelled[attr(n, "for")] = true
	}
	for _, n := range d.all(func(n *html.Node) bool { return n.Data == "input" || n.Data == "select" }) {
		if attr(n, "type") == "hidden" {
			continue
		}
		inLabel := n.Parent.Data == "label"
		require.True(d.t, inLabel || labelled[attr(n, "id")] || attr(n, "aria-label") != "", "no label: "+attr(n, "name"))
	}
	for _, n := range d.tag("fieldset") {
		legends := 0
		for c := range n.ChildNodes() {
			if c.Data == "legend" {
				legends++
			}
		}
		require.Equal(d.t, 1, legends)
	}
	for _, n := range d.tag("button") {
		require.NotEmpty(d.t, text(n))
	}
}

func (d *doc) requireHeadingOrder() {
	level := 0
	for _, n := range d.all(func(n *html.Node) bool {
		return len(n.Data) == 2 && n.Data[0] == 'h' && n.Data[1] >= '1' && n.Data[1] <= '6'
	}) {
		l := int(n.Data[1] - '0')
		require.LessOrEqual(d.t, l, level+1, "heading skips a level: "+text(n))
		level = l
	}
}

func (d *doc) requireForms() {
	for _, n := range d.tag("form") {
		want := "post"
		if attr(n, "action") == "/compare" {
			want = "get" // it changes nothing, and its address can be kept
		}
		require.Equal(d.t, want, attr(n, "method"))
	}
}
