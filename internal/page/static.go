package page

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"io/fs"
	"net/http"
	"path"
	"strings"

	"github.com/labstack/echo/v4"

	"belay/internal/fault"
)

// mediaTypes of the static files, by ending. Others are not served.
var mediaTypes = map[string]string{
	".css": "text/css; charset=utf-8",
	".js":  "text/javascript; charset=utf-8",
	".svg": "image/svg+xml",
}

// minGzip is the size from which compressing pays. Chosen: below one packet
// nothing is won.
const minGzip = 1200

// assets are the static files, compressed once. They never change, so they
// are safe to share.
type assets struct {
	prefix string // "/static/<hash of all files>/"
	byName map[string]asset
}

type asset struct {
	mediaType    string
	raw, gz      []byte // gz is nil when it does not pay
	etag, gzETag string
}

// newAssets reads every static file of files. One hash over all of them
// stands in the path, so that files may name each other relatively and a
// browser keeps them for ever.
func newAssets(files fs.FS) (*assets, error) {
	a := &assets{byName: map[string]asset{}}
	all := sha256.New()
	err := fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || mediaTypes[path.Ext(name)] == "" {
			return err
		}
		body, err := fs.ReadFile(files, name)
		if err != nil {
			return err
		}
		all.Write([]byte(name))
		all.Write(body)
		one, err := newAsset(mediaTypes[path.Ext(name)], body)
		a.byName[name] = one
		return err
	})
	if err != nil {
		return nil, fault.Wrap("page.newAssets", err)
	}
	a.prefix = "/static/" + hex.EncodeToString(all.Sum(nil)[:6]) + "/"
	return a, nil
}

func newAsset(mediaType string, body []byte) (asset, error) {
	sum := sha256.Sum256(body)
	tag := hex.EncodeToString(sum[:8])
	one := asset{mediaType: mediaType, raw: body, etag: `"` + tag + `"`, gzETag: `"` + tag + `-gz"`}
	if len(body) < minGzip {
		return one, nil
	}
	var b bytes.Buffer
	w, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		return one, err
	}
	if _, err := w.Write(body); err != nil {
		return one, err
	}
	if err := w.Close(); err != nil {
		return one, err
	}
	if b.Len() < len(body) {
		one.gz = b.Bytes()
	}
	return one, nil
}

// serve sends one static file.
func (a *assets) serve(c echo.Context) error {
	one, ok := a.byName[c.Param("*")]
	if !ok {
		return noSuchPage()
	}
	body, tag := one.raw, one.etag
	h := c.Response().Header()
	h.Set("Content-Type", one.mediaType)
	h.Set("Cache-Control", "public, max-age=31536000, immutable")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Add("Vary", "Accept-Encoding")
	if one.gz != nil && strings.Contains(c.Request().Header.Get("Accept-Encoding"), "gzip") {
		body, tag = one.gz, one.gzETag
		h.Set("Content-Encoding", "gzip")
	}
	h.Set("ETag", tag)
	if c.Request().Header.Get("If-None-Match") == tag {
		h.Del("Content-Encoding")
		return c.NoContent(http.StatusNotModified)
	}
	return c.Blob(http.StatusOK, one.mediaType, body)
}
