package page

import (
	"bytes"
	"errors"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strings"

	"github.com/labstack/echo/v4"

	"belay/internal/fault"
)

// frame is what every page has around its content.
type frame struct {
	Title   string // of the browser's tab
	Static  string // path prefix of the static files
	Page    string // list, session, part, chart, glossary or problem: which styles and scripts it loads
	Session string // path of the session, or ""
}

// renderer runs the templates. It is safe for concurrent use.
type renderer struct {
	set    *template.Template
	static string
}

func newRenderer(files fs.FS, static string) (*renderer, error) {
	texts, err := whyTexts()
	if err != nil {
		return nil, err
	}
	set := template.New("").Option("missingkey=error").Funcs(template.FuncMap{
		"because": func(model, about string) whyView { return whyView{about, texts[model]} },
	})
	names, err := fs.Glob(files, "*/*.gohtml")
	if err != nil {
		return nil, fault.Wrap("page.newRenderer", err)
	}
	for _, name := range names {
		body, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, fault.Wrap("page.newRenderer", err)
		}
		short := strings.TrimSuffix(path.Base(name), ".gohtml")
		if _, err := set.New(short).Parse(string(body)); err != nil {
			return nil, fault.Wrap("page.newRenderer", err)
		}
	}
	return &renderer{set: set, static: static}, nil
}

// send renders the template name with data into a buffer first, so that a
// broken page is never sent in halves.
func (r *renderer) send(c echo.Context, status int, name string, data any) error {
	var b bytes.Buffer
	if err := r.set.ExecuteTemplate(&b, name, data); err != nil {
		return fault.Wrap("page.send", err)
	}
	c.Response().Header().Set("Cache-Control", "no-store")
	return c.HTMLBlob(status, b.Bytes())
}

func (p *pages) frame(name, title, session string) frame {
	return frame{Title: title + " – Belay", Static: p.render.static, Page: name, Session: session}
}

// problemPage says what went wrong and what to do next.
type problemPage struct {
	Frame     frame
	Heading   string
	Msg, Next string
}

// statusOf gives the HTTP status of a fault code.
func statusOf(code fault.Code) int {
	switch code {
	case fault.Invalid, fault.Unsafe, fault.Limit:
		return http.StatusUnprocessableEntity
	case fault.Conflict:
		return http.StatusConflict
	case fault.NotFound:
		return http.StatusNotFound
	case fault.Denied:
		return http.StatusForbidden
	case fault.Unavailable:
		return http.StatusServiceUnavailable
	}
	return http.StatusInternalServerError
}

// guarded shows the fault of a handler as a page.
func (p *pages) guarded(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		err := next(c)
		if err == nil || c.Response().Committed {
			return err
		}
		return p.problem(c, err)
	}
}

func (p *pages) problem(c echo.Context, err error) error {
	f := asFault(err)
	heading := "This did not work"
	switch f.Code {
	case fault.NotFound:
		heading = "Nothing is here"
	case fault.Internal, fault.Corrupt:
		heading = "Something is wrong inside Belay"
		c.Logger().Error(err)
	}
	return p.render.send(c, statusOf(f.Code), "problem", problemPage{
		Frame: p.frame("problem", heading, ""), Heading: heading, Msg: f.Msg, Next: f.Next,
	})
}

// nothingHere answers a path that no page has. Paths of the API are left to
// the API's own error handler.
func (p *pages) nothingHere(c echo.Context) error {
	if strings.HasPrefix(c.Request().URL.Path, "/api/") {
		return echo.ErrNotFound
	}
	return p.problem(c, noSuchPage())
}

func noSuchPage() error {
	return fault.New(fault.NotFound, "There is no page with this address.", "Go to the list of sessions.")
}

func badForm(err error) error {
	var tooLong *http.MaxBytesError
	if errors.As(err, &tooLong) {
		return fault.New(fault.Limit, "That is longer than any answer.", "Go back and shorten what you typed.").Because(err)
	}
	return fault.New(fault.Invalid, "The form did not arrive whole.", "Go back and send it again.").Because(err)
}

// asFault returns the fault in err, or an internal one around it.
func asFault(err error) *fault.Error {
	var f *fault.Error
	if !errors.As(fault.Wrap("page", err), &f) {
		return fault.New(fault.Internal, "Something went wrong inside Belay.", "Try again.")
	}
	return f
}
