package page

import (
	"context"
	"fmt"

	"github.com/labstack/echo/v4"

	"belay/internal/assist"
	"belay/internal/session"
	"belay/internal/wording"
)

// Bench is what the pages ask about trials on the PC that Belay runs on.
type Bench interface {
	CanRun() bool
	RunTrial(ctx context.Context, id, prompt string) error
	RunningTrial(id string) *assist.Running
	StopTrial(id string) error
}

// liveView is the part of a trial step about this PC: what was found, what
// runs, or the offer to run it.
type liveView struct {
	State        string // changes when the panel has to be drawn anew
	Found        *session.Found
	Running      *runningView
	Offer, Label string
}

type runningView struct {
	Trial            int
	Status, Heading  string
	Seconds, Elapsed float64
	Gone, Left, Temp string
	CanStop          bool
}

// live returns the view for a trial step of a session about a real PC, or
// nil.
func (p *pages) live(v session.View, prompt session.Prompt) *liveView {
	if !prompt.Trial || v.Practice != nil {
		return nil
	}
	out := &liveView{Found: prompt.Found}
	if r := p.guide.RunningTrial(v.ID); r != nil {
		out.Running = running(*r)
		out.State = fmt.Sprint(r.Trial, r.Status)
		return out
	}
	if out.Found != nil {
		out.State = "found"
	}
	if p.guide.CanRun() {
		out.Offer = "Does Belay run on the PC that you tune? Then it can run this load itself. It stops the load when the processor gets too hot."
		out.Label = "Run the load on this PC"
		if out.Found != nil {
			out.Offer, out.Label = "You can also run the load again.", "Run the load again"
		}
	}
	return out
}

// headings of a running trial, by status.
var headings = map[string]string{
	"preparing": "Belay prepares the load.",
	"running":   "The load is running. You can leave this page.",
	"stopping":  "The load is stopping.",
	"saving":    "The load has ended. Its result is being saved.",
}

func running(r assist.Running) *runningView {
	v := &runningView{
		Trial: r.Trial, Status: r.Status, Heading: headings[r.Status],
		Seconds: float64(r.Minutes) * 60, Elapsed: r.ElapsedS, CanStop: r.Status == "running" || r.Status == "preparing",
	}
	v.Gone, v.Left = clock(v.Elapsed), clock(max(0, v.Seconds-v.Elapsed))
	if r.Preparing != "" {
		v.Heading = wording.Bound(r.Preparing)
	}
	if r.CoreTemp > 0 {
		v.Temp = r.CoreTemp.String()
	}
	return v
}

// clock writes seconds as minutes and seconds.
func clock(s float64) string { return fmt.Sprintf("%d:%02d", int(s)/60, int(s)%60) }

// runTrial starts the load of the present step on this PC.
func (p *pages) runTrial(c echo.Context) error {
	err := p.guide.RunTrial(c.Request().Context(), c.Param("id"), c.Request().PostForm.Get("prompt"))
	return p.after(c, err, typedForm{})
}

// stopTrial stops it.
func (p *pages) stopTrial(c echo.Context) error {
	return p.after(c, p.guide.StopTrial(c.Param("id")), typedForm{})
}
