// Package web holds the templates, styles, scripts and pictures of the pages,
// one folder for each page and one for what they share. It only embeds.
package web

import (
	"embed"
	"io/fs"
	"strings"
)

//go:embed */*.gohtml */*.css */*.js */*.svg */*.txt
var files embed.FS

// Files returns the embedded tree: templates end in .gohtml, everything else
// is sent to the browser as it is.
func Files() fs.FS { return files }

// Join returns embedded files one after the other, for a document that
// stands alone. A name that is not embedded is a mistake in Belay: it panics.
func Join(names ...string) string {
	var all strings.Builder
	for _, name := range names {
		body, err := files.ReadFile(name)
		if err != nil {
			panic("an embedded file is missing: " + err.Error())
		}
		all.Write(body)
	}
	return all.String()
}
