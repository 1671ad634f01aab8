package page

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"belay/internal/assist"
	"belay/internal/fault"
	"belay/internal/sample"
	"belay/internal/sensorlog"
	"belay/internal/session"
	"belay/internal/wording"
)

// LogKeeper is what the pages ask of the use cases about logs of readings.
type LogKeeper interface {
	// LogFor returns the session if a log can be attached to trial n.
	LogFor(ctx context.Context, id string, n int) (session.View, error)
	// HoldLog keeps a log until its columns are confirmed, under a key.
	HoldLog(r io.Reader) (string, error)
	AttachLog(ctx context.Context, id string, req assist.LogRequest) (assist.LogResult, error)
}

// logTimeout is how long a log may take to arrive. Chosen: the largest one on
// a slow, busy machine.
const logTimeout = 5 * time.Minute

// mostFolded is how many columns that nobody guessed are listed. Chosen:
// every logger that is known of; each costs a line of the page.
const mostFolded = 400

// logPage asks for a log, and then for its columns.
type logPage struct {
	Frame       frame
	Base, Title string
	N           int
	Error       *errorView
	Held, Name  string // of a log that waits for its columns
	Found       []wording.Pair
	Notes       []string
	Times       []choiceView // columns that can be the time
	Guessed     []logColumn
	Others      []logColumn
}

// logColumn is one column with what it can be used for.
type logColumn struct {
	ID, Name, Example string
	Uses              []choiceView
}

// registerLogs adds the pages of logs.
func (p *pages) registerLogs(e *echo.Echo) {
	e.GET("/s/:id/trials/:n/log", p.guarded(p.askLog))
	e.POST("/s/:id/trials/:n/log", p.guarded(p.takeLog))
	e.POST("/s/:id/trials/:n/log/columns", p.guarded(limited(p.confirmLog)))
}

// logPageOf begins the page of a trial's log.
func (p *pages) logPageOf(c echo.Context) (logPage, error) {
	n, err := strconv.Atoi(c.Param("n"))
	if err != nil {
		return logPage{}, noSuchPage()
	}
	view, err := p.guide.LogFor(c.Request().Context(), c.Param("id"), n)
	if err != nil {
		return logPage{}, err
	}
	heading := "Readings of trial " + strconv.Itoa(n)
	base := baseOf(view.ID)
	return logPage{Frame: p.frame("log", heading+" – "+view.Title, base), Base: base, Title: view.Title, N: n}, nil
}

func (p *pages) askLog(c echo.Context) error {
	page, err := p.logPageOf(c)
	if err != nil {
		return err
	}
	return p.render.send(c, http.StatusOK, "log", page)
}

// takeLog takes a log in. One whose heading is known is with its trial at
// once; another one waits for its columns.
func (p *pages) takeLog(c echo.Context) error {
	page, err := p.logPageOf(c)
	if err != nil {
		return err
	}
	// The server's limit on reading is for small bodies. A connection that
	// cannot be given more time keeps its own.
	_ = http.NewResponseController(c.Response()).SetReadDeadline(time.Now().Add(logTimeout))
	body, name, err := uploaded(c.Request())
	if err != nil {
		return p.logAgain(c, page, err)
	}
	held, err := p.guide.HoldLog(body)
	if err != nil {
		return p.logAgain(c, page, err)
	}
	return p.tryLog(c, page, assist.LogRequest{N: page.N, Name: name, Held: held})
}

// uploaded returns the file in a form, and its name.
func uploaded(r *http.Request) (io.Reader, string, error) {
	parts, err := r.MultipartReader()
	if err != nil {
		return nil, "", badForm(err)
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) || err == nil && part.FormName() == "file" && part.FileName() == "" {
			f := fault.New(fault.Invalid, "No file was chosen.", "Choose the log that was written during the trial.")
			f.Fields = []fault.Field{{Field: "file", Message: "Choose a file."}}
			return nil, "", f
		}
		if err != nil {
			return nil, "", badForm(err)
		}
		if part.FormName() == "file" {
			return part, part.FileName(), nil
		}
	}
}

// confirmLog attaches a log with the columns that the person chose.
func (p *pages) confirmLog(c echo.Context) error {
	page, err := p.logPageOf(c)
	if err != nil {
		return err
	}
	form := c.Request().PostForm
	m := columnsFrom(form)
	return p.tryLog(c, page, assist.LogRequest{
		N: page.N, Name: form.Get("name"), Held: form.Get("held"), Columns: &m, Key: form.Get("key"),
	})
}

// columnsFrom reads the columns out of a form: "use:NAME" holds what column
// NAME is used for.
func columnsFrom(form url.Values) sensorlog.Mapping {
	m := sensorlog.Mapping{Time: form.Get("time"), Columns: map[string][]string{}}
	for field := range form {
		if name, ok := strings.CutPrefix(field, "use:"); ok && form.Get(field) != "" {
			m.Columns[form.Get(field)] = append(m.Columns[form.Get(field)], name)
		}
	}
	for _, names := range m.Columns {
		slices.Sort(names)
	}
	return m
}

// tryLog attaches a held log, or asks for its columns.
func (p *pages) tryLog(c echo.Context, page logPage, req assist.LogRequest) error {
	ctx := c.Request().Context()
	got, err := p.guide.AttachLog(ctx, c.Param("id"), req)
	if err == nil && got.Attached {
		return back(c, c.Param("id"), "")
	}
	if err != nil && req.Columns == nil {
		return p.logAgain(c, page, err)
	}
	page.Held, page.Name = req.Held, req.Name
	status := http.StatusOK
	if err != nil { // the columns were wrong: show them again, as they were chosen
		chosen := *req.Columns
		page.setError(err)
		status = statusOf(fault.CodeOf(err))
		req.Columns, req.Look = nil, true
		if got, err = p.guide.AttachLog(ctx, c.Param("id"), req); err != nil {
			return p.logAgain(c, page, err)
		}
		got.Columns = chosen
	}
	page.fill(got)
	return p.render.send(c, status, "log", page)
}

// logAgain shows the question for a log with what was wrong.
func (p *pages) logAgain(c echo.Context, page logPage, err error) error {
	switch fault.CodeOf(err) {
	case fault.Invalid, fault.Limit, fault.Unavailable, fault.NotFound, fault.Conflict:
	default:
		return err
	}
	page.Held = ""
	page.setError(err)
	return p.render.send(c, statusOf(fault.CodeOf(err)), "log", page)
}

func (page *logPage) setError(err error) {
	f := asFault(err)
	page.Error = &errorView{Heading: wording.Bound(f.Msg), Next: wording.Bound(f.Next)}
	for _, x := range f.Fields {
		page.Error.Lines = append(page.Error.Lines, problemLine{Message: wording.Bound(x.Message)})
	}
	if !strings.HasPrefix(page.Frame.Title, "Error: ") {
		page.Frame.Title = "Error: " + page.Frame.Title
	}
}

// fill shows what a log holds and how its columns would be used.
func (page *logPage) fill(got assist.LogResult) {
	r := got.Reduced
	add := func(label, unit string, x float64) {
		if x != 0 {
			page.Found = append(page.Found, wording.Pair{Label: label, Value: wording.Measure(unit, x)})
		}
	}
	add("Load voltage", "V", float64(r.LoadVoltage))
	add("Hottest core", "°C", float64(r.CoreTemp))
	add("Package power", "W", float64(r.PackagePower))
	add("Clock", "MHz", float64(r.Clock))
	if r.Seconds > 0 {
		page.Found = append(page.Found, wording.Pair{Label: "Under load", Value: wording.Minutes(float64(r.LoadSeconds)/60) + " of " + wording.Minutes(float64(r.Seconds)/60)})
	}
	page.Notes = r.Warnings
	used := map[string]string{}
	for q, names := range got.Columns.Columns {
		for _, n := range names {
			used[n] = q
		}
	}
	for i, col := range got.Layout.Columns {
		if i >= mostFolded {
			break
		}
		page.Times = append(page.Times, choiceView{Value: col.Name, Label: col.Name, Checked: col.Name == got.Columns.Time})
		if col.Name == got.Columns.Time || col.Example == "" {
			continue
		}
		v := logColumn{ID: "use-" + strconv.Itoa(i), Name: col.Name, Example: col.Example}
		for _, q := range sample.Quantities {
			v.Uses = append(v.Uses, choiceView{Value: q.String(), Label: q.Label() + unitNote(q), Checked: used[col.Name] == q.String()})
		}
		if used[col.Name] != "" {
			page.Guessed = append(page.Guessed, v)
		} else {
			page.Others = append(page.Others, v)
		}
	}
}

func unitNote(q sample.Quantity) string {
	if u := unitShown(q.Unit()); u != "" {
		return ", " + u
	}
	return ""
}
