// Package web holds the templates, styles, scripts and pictures of the pages,
// one folder for each page and one for what they share. It only embeds.
package web

import (
	"embed"
	"io/fs"
)

//go:embed */*.gohtml */*.css */*.js */*.svg
var files embed.FS

// Files returns the embedded tree: templates end in .gohtml, everything else
// is sent to the browser as it is.
func Files() fs.FS { return files }
