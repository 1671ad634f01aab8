package page

import (
	"crypto/rand"
	"encoding/binary"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"belay/internal/assist"
	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/wording"
)

// listPage is the first page: begin a session, or go on with one.
type listPage struct {
	Frame    frame
	Key      string
	Flows    []flowView
	Sessions []summaryView
	Notices  []noticeView
	Error    *errorView
	Title    string // typed title, kept on an error
	Seed     string
	Other    bool // the PC to tune is another one
}

// noticeView is one thing that a person should know of the data.
type noticeView struct{ What, Next string }

// flowView is one flow to choose.
type flowView struct {
	ID, Name, Title string
	Checked         bool
}

// summaryView is one session of the list.
type summaryView struct {
	ID, Base, Title, Heading, Where, Updated, Machine string
	Practice, Finished                                bool
}

func (p *pages) list(c echo.Context) error { return p.showList(c, http.StatusOK, nil) }

func (p *pages) showList(c echo.Context, status int, wrong error) error {
	ctx := c.Request().Context()
	flows, err := p.guide.Flows(ctx)
	if err != nil {
		return err
	}
	sessions, err := p.guide.List(ctx)
	if err != nil {
		return err
	}
	form := c.Request().PostForm
	page := listPage{Frame: p.frame("list", "Sessions", ""), Key: newKey(), Title: form.Get("title"), Seed: form.Get("seed"), Other: form.Get("other") != ""}
	for i, f := range flows {
		chosen := form.Get("flow") == f.Name || form.Get("flow") == "" && i == 0
		page.Flows = append(page.Flows, flowView{"flow-" + strconv.Itoa(i), f.Name, f.Title, chosen})
	}
	for _, s := range sessions {
		page.Sessions = append(page.Sessions, summaryOf(s))
	}
	for _, n := range p.guide.Notices() {
		page.Notices = append(page.Notices, noticeView{n.Msg, n.Next})
	}
	if wrong != nil {
		f := asFault(wrong)
		page.Error = &errorView{Heading: wording.Bound(f.Msg), Next: wording.Bound(f.Next)}
		page.Frame.Title = "Error: " + page.Frame.Title
		for _, x := range f.Fields {
			page.Error.Lines = append(page.Error.Lines, problemLine{Message: wording.Bound(x.Message), Href: startFields[x.Field]})
		}
	}
	return p.render.send(c, status, "list", page)
}

// startFields are the anchors of the fields that begin a session.
var startFields = map[string]string{"title": "#title", "seed": "#seed"}

func summaryOf(s assist.Summary) summaryView {
	v := summaryView{
		ID: s.ID, Base: baseOf(s.ID), Title: s.Title, Heading: wording.Plain(s.Heading), Practice: s.Practice != nil, Finished: s.Finished,
		Updated: clockTime(s.Updated, time.Now()), Machine: s.Updated.UTC().Format(time.RFC3339),
	}
	if s.StageOf > 0 {
		v.Where = "Stage " + strconv.Itoa(s.StageNo) + " of " + strconv.Itoa(s.StageOf)
	}
	return v
}

// start begins a session on a real or a simulated PC.
func (p *pages) start(c echo.Context) error {
	form := c.Request().PostForm
	id, err := p.starts.once(form.Get("key"), func() (string, error) {
		req := assist.StartRequest{Flow: form.Get("flow"), Title: form.Get("title"), Elsewhere: form.Get("other") != ""}
		if form.Get("kind") == "practice" {
			seed, err := practiceSeed(form)
			if err != nil {
				return "", err
			}
			req.Practice = &event.Practice{Seed: seed, Variant: "own"}
		}
		return p.guide.Start(c.Request().Context(), req)
	})
	if err != nil {
		return p.listAgain(c, err)
	}
	return back(c, id, "")
}

// listAgain shows the list with what was wrong, if the person can put it
// right there.
func (p *pages) listAgain(c echo.Context, err error) error {
	switch fault.CodeOf(err) {
	case fault.Invalid, fault.Limit, fault.Unsafe, fault.Conflict, fault.Unavailable:
		return p.showList(c, statusOf(fault.CodeOf(err)), err)
	}
	return err
}

// practiceSeed is the number of the simulated PC: the typed one, or any.
func practiceSeed(form url.Values) (uint64, error) {
	typed := form.Get("seed")
	if typed == "" {
		var b [4]byte
		_, _ = rand.Read(b[:]) // never fails since Go 1.24
		return uint64(binary.BigEndian.Uint32(b[:]) % 10000), nil
	}
	seed, err := strconv.ParseUint(typed, 10, 32)
	if err != nil {
		f := fault.New(fault.Invalid, "The number of the simulated PC cannot be read.", "Type a whole number, such as 7, or leave it open.")
		f.Fields = []fault.Field{{Field: "seed", Message: "Number of the simulated PC: type a whole number, such as 7."}}
		return 0, f
	}
	return seed, nil
}

// rename gives a session another title.
func (p *pages) rename(c echo.Context) error {
	form := c.Request().PostForm
	err := p.guide.Rename(c.Request().Context(), c.Param("id"), form.Get("title"))
	switch {
	case err == nil && form.Get("from") == "list":
		return c.Redirect(http.StatusSeeOther, "/")
	case err != nil && form.Get("from") == "list":
		form.Del("title") // it belongs to another field of this page
		return p.listAgain(c, err)
	}
	return p.after(c, err, typedForm{})
}

// deletePage asks before a session is deleted for good.
type deletePage struct {
	Frame       frame
	Base, Title string
	Trials      int
	Started     string
}

func (p *pages) confirmDelete(c echo.Context) error {
	ctx, id := c.Request().Context(), c.Param("id")
	view, err := p.guide.View(ctx, id)
	if err != nil {
		return err
	}
	trials, err := p.guide.Trials(ctx, id)
	if err != nil {
		return err
	}
	return p.render.send(c, http.StatusOK, "delete", deletePage{
		Frame: p.frame("list", "Delete a session", ""), Base: baseOf(view.ID), Title: view.Title,
		Trials: len(trials), Started: clockTime(view.Started, time.Now()),
	})
}

func (p *pages) delete(c echo.Context) error {
	if err := p.guide.Delete(c.Request().Context(), c.Param("id")); err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/")
}
