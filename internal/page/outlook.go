package page

import (
	"strconv"

	"belay/internal/session"
	"belay/internal/wording"
)

// setOutlook adds what a further hour would prove.
func (e *evidenceView) setOutlook(o session.Outlook) {
	if o.Further != nil {
		e.Further = linked(e.Base, o.Further.Sentence)
	}
}

// resumeView is the first thing to see after a trial was cut off: what
// happened, what is in force, that nothing is lost, and what to do.
type resumeView struct {
	Says    string
	InForce []wording.Pair
	Entries string
}

// resumeOf tells of a trial that a crash cut off, or nil.
func resumeOf(v session.View, p session.Prompt) *resumeView {
	if p.Found == nil || p.Found.From != "crash" {
		return nil
	}
	n := strconv.FormatInt(v.Version, 10)
	return &resumeView{Says: wording.Bound(p.Found.Says), InForce: wording.List(v.Settings), Entries: n + " of " + n}
}
