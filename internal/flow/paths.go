package flow

import "slices"

// checkPaths proves that the guide leads everywhere and always has a way on.
func (l *loader) checkPaths() {
	next := map[string][]way{}
	for _, d := range l.drafts {
		next[d.ID] = d.ways()
		if len(next[d.ID]) == 0 && !d.End {
			l.flow.refuse(d.path, "Add an action, or end: true.", "The state %s has no way on.", d.ID)
		}
	}
	unstopped := reach(next, l.raw.Start)
	all := reach(next, l.raw.Start, l.raw.Stop)
	for _, d := range l.drafts {
		if !all[d.ID] {
			l.flow.refuse(d.path+".id", "Lead a branch to it, or remove it.", "The state %s is never reached from the start.", d.ID)
		}
		for _, w := range next[d.ID] {
			if w.to == Return && unstopped[d.ID] {
				l.flow.refuse(w.path+".to", "Name the state to go to.", "The state %s returns, but it is reached without having stopped.", d.ID)
			}
		}
	}
	if len(*l.problems) > 0 {
		return
	}
	l.checkEnds(next)
	l.checkLoops()
}

// ways lists where a state leads. A state that always moves on by itself
// never offers its actions.
func (d *draft) ways() []way {
	if n := len(d.Auto); n > 0 && d.Auto[n-1].When == nil {
		return d.way.auto
	}
	return slices.Concat(d.way.auto, d.way.actions)
}

// reach returns every state that can be reached from those given.
func reach(next map[string][]way, from ...string) map[string]bool {
	seen := map[string]bool{}
	for len(from) > 0 {
		id := from[len(from)-1]
		from = from[:len(from)-1]
		if seen[id] || id == Return {
			continue
		}
		seen[id] = true
		for _, w := range next[id] {
			from = append(from, w.to)
		}
	}
	return seen
}

// checkEnds asks for a way from every state to an end without stopping. A
// return leads to where the person was, so it counts as the start.
func (l *loader) checkEnds(next map[string][]way) {
	ending := map[string]bool{}
	for _, d := range l.drafts {
		ending[d.ID] = d.End
	}
	for changed := true; changed; {
		changed = false
		for _, d := range l.drafts {
			if ending[d.ID] {
				continue
			}
			for _, w := range next[d.ID] {
				if ending[w.to] || w.to == Return && ending[l.raw.Start] {
					ending[d.ID], changed = true, true
				}
			}
		}
	}
	for _, d := range l.drafts {
		if !ending[d.ID] {
			l.flow.refuse(d.path+".id", "Add a branch that leads towards a state with end: true.", "From the state %s no way leads to an end without stopping.", d.ID)
		}
	}
}

// checkLoops refuses circles of automatic branches, which would never ask
// the person anything.
func (l *loader) checkLoops() {
	byID := map[string]*draft{}
	for _, d := range l.drafts {
		byID[d.ID] = d
	}
	const open, done = 1, 2
	marks := map[string]int{}
	var walk func(id string)
	walk = func(id string) {
		marks[id] = open
		for _, w := range byID[id].way.auto {
			switch {
			case w.to == Return || marks[w.to] == done:
			case marks[w.to] == open:
				l.flow.refuse(w.path, "Let one of the states ask something.", "The automatic branch from %s to %s closes a circle without an end.", id, w.to)
			default:
				walk(w.to)
			}
		}
		marks[id] = done
	}
	for _, d := range l.drafts {
		if marks[d.ID] == 0 {
			walk(d.ID)
		}
	}
}
