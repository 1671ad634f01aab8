package page

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"belay/internal/assist"
	"belay/internal/fault"
	"belay/internal/session"
	"belay/internal/wording"
)

// shownEntries is how much of the notebook stands on the session page; the
// rest is one tap away. Chosen: a few screens, so that the page stays light.
const shownEntries = 30

// sessionPage is everything on the page of a session.
type sessionPage struct {
	Frame    frame
	Base     string
	Title    string
	Practice bool
	Version  int64
	Step     stepView
	Take     *takeView // the PC restarts in this step, so that it is to be taken along
	Notice   string    // what became of an answer to a prompt that has passed
	Live     *liveView // the trial of this step, on this PC
	Error    *errorView
	Reply    *replyView
	Resume   *resumeView // what happened to a trial that has no end
	Filled   bool        // values from free text are typed in
	Ladder   []rungView
	Progress string
	Left     []piece // how long the rest takes
	Evidence evidenceView
	Entries  []entryView
	Earlier  int // entries that are only on the page of the whole notebook
	Sheet    bool
	Saved    *entryView // newest entry that is not the guide's own
	Asked    string     // free text to keep in its field
}

// takeView offers the card before the PC restarts. After names the step that
// follows.
type takeView struct{ After string }

// errorView is the summary above a refused form.
type errorView struct {
	Heading, Next string
	Lines         []problemLine
}

// replyView is the answer to free text.
type replyView struct {
	Text    [][]piece
	Choices []string
	Draft   *draftView // values to put into the report
	Command string     // undo or stop: its button is shown
}

// baseOf is the path of a session.
func baseOf(id string) string { return "/s/" + url.PathEscape(id) }

// back redirects to the present step of a session that the guide knows.
func back(c echo.Context, id, query string) error {
	return c.Redirect(http.StatusSeeOther, baseOf(id)+query+"#step")
}

// load gathers the page of a session as it is now.
func (p *pages) load(ctx context.Context, id string, typed typedForm) (*sessionPage, error) {
	view, err := p.guide.View(ctx, id)
	if err != nil {
		return nil, err
	}
	prompt, err := p.guide.Prompt(ctx, id)
	if err != nil {
		return nil, err
	}
	history, err := p.guide.History(ctx, id)
	if err != nil {
		return nil, err
	}
	trials, err := p.guide.Trials(ctx, id)
	if err != nil {
		return nil, err
	}
	base := baseOf(view.ID)
	page := &sessionPage{
		Frame: p.frame("session", wording.Plain(prompt.Title)+" – "+view.Title, base), Base: base, Title: view.Title,
		Practice: view.Practice != nil, Version: view.Version, Step: stepOf(base, view, prompt, typed),
		Ladder: ladderOf(view.Stages), Progress: progress(view.Stages), Evidence: evidenceOf(base, view, trials),
		Entries: entriesOf(base, view.Stages, history), Sheet: view.Finished || view.Keep != nil,
	}
	if page.Take, err = p.take(ctx, view, prompt); err != nil {
		return nil, err
	}
	page.Live = p.live(view, prompt)
	if prompt.Trial && view.Practice == nil {
		page.Step.LogTrial = len(trials) + 1
	}
	outlook, err := p.guide.Outlook(ctx, view.ID)
	if err != nil {
		return nil, err
	}
	page.Left = linked(base, outlook.Left.Sentence)
	page.Evidence.setOutlook(outlook)
	page.Resume = resumeOf(view, prompt)
	page.Saved = newestAnswer(page.Entries)
	if page.Earlier = len(page.Entries) - shownEntries; page.Earlier > 0 {
		page.Entries = page.Entries[page.Earlier:]
	} else {
		page.Earlier = 0
	}
	return page, nil
}

// take offers the card where a real PC restarts.
func (p *pages) take(ctx context.Context, v session.View, prompt session.Prompt) (*takeView, error) {
	if !prompt.Restarts || v.Practice != nil {
		return nil, nil
	}
	d, err := p.guide.Card(ctx, v.ID)
	if err != nil {
		return nil, err
	}
	t := &takeView{}
	if d.Next != nil {
		t.After = wording.Plain(d.Next.Title)
	}
	return t, nil
}

// newestAnswer is what was written down last and still stands.
func newestAnswer(entries []entryView) *entryView {
	for _, e := range slices.Backward(entries) {
		if e.From != "guide" && !e.Superseded {
			return &e
		}
	}
	return nil
}

// session shows the present step with all that belongs to it.
func (p *pages) session(c echo.Context) error {
	page, err := p.load(c.Request().Context(), c.Param("id"), typedForm{})
	if err != nil {
		return err
	}
	if r, ok := p.replies.get(c.QueryParam("reply")); ok {
		page.Reply = replyOf(page.Base, r)
	}
	return p.render.send(c, http.StatusOK, "session", page)
}

// answer posts the form of the present step.
func (p *pages) answer(c echo.Context) error {
	form := c.Request().PostForm
	req := assist.FormRequest{
		Prompt: form.Get("prompt"), Action: form.Get("action"), Key: form.Get("key"), Form: map[string][]string{},
	}
	for name, values := range form {
		if !slices.Contains([]string{"prompt", "action", "key", "confirm", "refused", "correct"}, name) {
			req.Form[name] = values
		}
	}
	if req.Action == "" { // a correction or a confirmation sends the refused action again
		req.Action = form.Get("refused")
	}
	if name, value, ok := strings.Cut(form.Get("correct"), "="); ok {
		req.Form[name] = []string{value}
	}
	req.Confirm = insisted(form["confirm"], req.Form)
	_, err := p.guide.AnswerForm(c.Request().Context(), c.Param("id"), req)
	return p.after(c, err, typedForm{values: req.Form, action: req.Action, confirmed: form["confirm"]})
}

// simulate lets the simulated PC answer the present step.
func (p *pages) simulate(c echo.Context) error {
	form := c.Request().PostForm
	_, err := p.guide.Simulate(c.Request().Context(), c.Param("id"), form.Get("prompt"), form.Get("key"))
	return p.after(c, err, typedForm{})
}

// undo takes back the newest answer.
func (p *pages) undo(c echo.Context) error {
	_, err := p.guide.Undo(c.Request().Context(), c.Param("id"), c.Request().PostForm.Get("key"))
	return p.after(c, err, typedForm{})
}

// after redirects to the step, or shows the step again with what was wrong
// and what was typed.
func (p *pages) after(c echo.Context, err error, typed typedForm) error {
	id := c.Param("id")
	if err == nil {
		return back(c, id, "")
	}
	f := asFault(err)
	typed.problems, typed.kept = f.Fields, f.Code == fault.Conflict
	switch f.Code {
	case fault.Invalid, fault.Unsafe, fault.Limit, fault.Conflict:
	default:
		return err
	}
	page, lerr := p.load(c.Request().Context(), id, typed)
	if lerr != nil {
		return lerr
	}
	if f.Code == fault.Conflict {
		page.Notice = wording.Bound(f.Msg + " " + f.Next)
	} else {
		page.Error = &errorView{Heading: wording.Bound(f.Msg), Next: wording.Bound(f.Next), Lines: problemLines(f, page.Step.Fields)}
		page.Frame.Title = "Error: " + page.Frame.Title
	}
	return p.render.send(c, statusOf(f.Code), "session", page)
}

// say takes free text. Its answer is kept for a while and shown after the
// redirect, under a key that nobody can guess or make.
func (p *pages) say(c echo.Context) error {
	text := c.Request().PostForm.Get("text")
	reply, err := p.guide.Say(c.Request().Context(), c.Param("id"), text)
	switch {
	case err == nil && reply.Text != "":
		return c.Redirect(http.StatusSeeOther, baseOf(c.Param("id"))+"?reply="+p.replies.put(reply)+"#reply")
	case err == nil:
		return back(c, c.Param("id"), "")
	case fault.Is(err, fault.NotFound):
		return err
	}
	f := asFault(err)
	page, lerr := p.load(c.Request().Context(), c.Param("id"), typedForm{})
	if lerr != nil {
		return lerr
	}
	page.Asked = text
	page.Error = &errorView{Heading: wording.Bound(f.Msg), Next: wording.Bound(f.Next), Lines: []problemLine{}}
	page.Frame.Title = "Error: " + page.Frame.Title
	return p.render.send(c, statusOf(f.Code), "session", page)
}

// progress counts the stages that are behind.
func progress(stages []session.StageView) string {
	behind := 0
	for _, s := range stages {
		if s.Status == "done" || s.Status == "skipped" {
			behind++
		}
	}
	return wording.Number(float64(behind)) + " of " + wording.Number(float64(len(stages))) + " stages behind you"
}
