package page

import (
	"bytes"
	"compress/gzip"
	"io"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"path"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"belay/web"
)

func TestEveryFileIsServed(t *testing.T) {
	a, err := newAssets(web.Files())
	require.NoError(t, err)
	e := serve(t, scenes())
	seen := 0
	require.NoError(t, fs.WalkDir(web.Files(), ".", func(name string, d fs.DirEntry, err error) error {
		require.NoError(t, err)
		if d.IsDir() {
			return nil
		}
		body, err := fs.ReadFile(web.Files(), name)
		require.NoError(t, err)
		require.NotEmpty(t, body, name)
		req := httptest.NewRequest(http.MethodGet, a.prefix+name, nil)
		req.Header.Set("Accept-Encoding", "gzip")
		rec := httptest.NewRecorder()
		e.ServeHTTP(rec, req)
		if ext := path.Ext(name); ext == ".gohtml" || ext == ".txt" {
			require.Equal(t, http.StatusNotFound, rec.Code, "templates are not served: "+name)
			return nil
		}
		seen++
		require.Equal(t, http.StatusOK, rec.Code, name)
		require.Equal(t, mediaTypes[path.Ext(name)], rec.Header().Get("Content-Type"))
		require.Contains(t, rec.Header().Get("Cache-Control"), "immutable")
		require.Equal(t, "Accept-Encoding", rec.Header().Get("Vary"))
		got := rec.Body.Bytes()
		if rec.Header().Get("Content-Encoding") == "gzip" {
			r, err := gzip.NewReader(bytes.NewReader(got))
			require.NoError(t, err)
			got, err = io.ReadAll(r)
			require.NoError(t, err)
		}
		require.Equal(t, body, got, name)

		again := httptest.NewRequest(http.MethodGet, a.prefix+name, nil)
		again.Header.Set("Accept-Encoding", "gzip")
		again.Header.Set("If-None-Match", rec.Header().Get("ETag"))
		rec = httptest.NewRecorder()
		e.ServeHTTP(rec, again)
		require.Equal(t, http.StatusNotModified, rec.Code)
		require.Zero(t, rec.Body.Len())
		return nil
	}))
	require.GreaterOrEqual(t, seen, 10)
}

func TestPlainBytesHaveAnotherTag(t *testing.T) {
	a, err := newAssets(web.Files())
	require.NoError(t, err)
	one := a.byName["shared/base.css"]
	require.NotNil(t, one.gz)
	require.Less(t, len(one.gz), len(one.raw)/2)
	require.NotEqual(t, one.etag, one.gzETag)
}

// pageBudget is the weight of the heaviest page with all that it loads, in
// bytes, uncompressed.
const pageBudget = 100 << 10

func TestPagesLoadOnlyWhatExistsAndStayLight(t *testing.T) {
	e := serve(t, scenes())
	a, err := newAssets(web.Files())
	require.NoError(t, err)
	for _, p := range everyPage() {
		d := get(t, e, p)
		total := len(d.raw)
		for _, n := range d.all(func(n *html.Node) bool { return n.Data == "link" || n.Data == "script" }) {
			if strings.HasSuffix(p, "/card") { // it loads nothing: its style and script are in d.raw
				require.Contains(t, []string{"", "data:,"}, attr(n, "href")+attr(n, "src"))
				continue
			}
			name, ok := strings.CutPrefix(attr(n, "href")+attr(n, "src"), a.prefix)
			require.True(t, ok)
			one, ok := a.byName[name]
			require.True(t, ok, name)
			total += len(one.raw)
			if attr(n, "src") == "" {
				continue
			}
			for other, x := range a.byName { // the modules that the script imports
				if path.Ext(other) == ".js" && other != name && strings.Contains(string(one.raw), "'./"+path.Base(other)+"'") {
					total += len(x.raw)
				}
			}
		}
		require.LessOrEqual(t, total, pageBudget, p)
	}
}
