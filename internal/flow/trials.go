package flow

import (
	"fmt"
	"slices"

	"belay/internal/trial"
)

// checkSafety checks that what a state sets is typed and guarded, and that
// what it tries is answered for.
func (l *loader) checkSafety() {
	for _, d := range l.drafts {
		if d.Confirms && !l.asksValue(d) {
			l.flow.refuse(d.path+".confirms", "Let an action need a value that is read on the screen.", "The state %s could be confirmed without typing any value.", d.name)
		}
		l.checkHazards(d)
		if d.Trial {
			l.checkTrial(d)
		}
	}
}

// asksValue reports whether an action needs more than a yes.
func (l *loader) asksValue(d *draft) bool {
	for _, a := range d.Actions {
		for _, name := range a.Needs {
			if f := l.graph.Fields[name]; f != nil && f.Kind != yesno {
				return true
			}
		}
	}
	return false
}

// checkTrial asks a state that runs a trial for a way on after each outcome
// that is not clean.
func (l *loader) checkTrial(d *draft) {
	f := l.graph.Fields["outcome"]
	if _, asked := d.Use("outcome"); !asked || f == nil || f.Kind != choice {
		l.flow.refuse(d.path+".trial", "Ask for the choice outcome.", "The state %s runs a trial, but does not ask how it ended.", d.name)
		return
	}
	for _, o := range failing() {
		l.checkOutcome(d, f, trial.Outcome(o))
	}
}

func (l *loader) checkOutcome(d *draft, f *Field, o trial.Outcome) {
	if !slices.Contains(f.values(), string(o)) {
		l.flow.refuse(d.path+".trial", "Add it to the choices of outcome.", "The trial of %s can end with %q, but the field outcome does not offer that.", d.name, o)
		return
	}
	for _, a := range d.Actions {
		for _, b := range a.Branches {
			if b.When.handles(o) {
				return
			}
		}
	}
	l.flow.refuse(d.path+".trial", fmt.Sprintf("Add a branch {when: answer.outcome == %q, to: ...} to a state with failure: %s.", o, o),
		"The trial of %s can end with %q, and no branch deals with that.", d.name, o)
}
