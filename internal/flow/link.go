package flow

import (
	"fmt"
	"slices"
	"strings"
)

// compiledKey is what a compiled condition depends on: states that a pattern
// adds to many stages share theirs.
type compiledKey struct {
	source  string
	asks    string
	hasPlan bool
}

type compiled struct {
	condition *Condition
	bad       *misfit
}

// ways is where a state leads, with the place of each branch in the file.
type ways struct {
	auto    []way
	actions []way
}

type way struct {
	to, path string
}

// linkStates resolves actions, branches and conditions.
func (l *loader) linkStates() {
	for _, key := range []struct{ name, id string }{{"start", l.raw.Start}, {"stop", l.raw.Stop}} {
		if l.graph.byID[key.id] == nil {
			l.flow.refuse(key.name, meant(key.id, keys(l.graph.byID)), "The flow's %s is %q, which is not a state.", key.name, key.id)
		}
	}
	for _, d := range l.drafts {
		l.auto(d)
		for i := range d.raw.Actions {
			l.action(d, &d.raw.Actions[i], fmt.Sprintf("%s.actions[%d]", d.path, i))
		}
	}
}

// auto resolves the branches that a state takes on arrival.
func (l *loader) auto(d *draft) {
	for i, b := range d.raw.Auto {
		path := fmt.Sprintf("%s.auto[%d]", d.path, i)
		branch := l.branch(d, b, path, nil)
		if b.When == "" && !l.flow.has(path+".when") && i < len(d.raw.Auto)-1 {
			l.flow.refuse(path, "Add when, or make it the last.", "The state always moves on here, so that the branches below are never reached.")
		}
		d.Auto = append(d.Auto, branch)
		d.way.auto = append(d.way.auto, way{branch.To, path})
	}
	if n := len(d.Auto); n > 0 && d.Auto[n-1].When == nil && len(d.raw.Actions) > 0 {
		l.flow.refuse(fmt.Sprintf("%s.auto[%d]", d.path, n-1), "Add when, or remove the actions.", "The state %s always moves on, so that its actions are never offered.", d.name)
	}
}

// action resolves one action of a state.
func (l *loader) action(d *draft, raw *rawAction, path string) {
	l.register("action", l.flow, path+".name", raw.Name, d.Action(raw.Name) != nil)
	l.require(l.flow, path, "action", map[string]string{"label": raw.Label})
	l.checkText(l.flow, path+".label", raw.Label)
	a := Action{Name: raw.Name, Label: raw.Label, Needs: l.needs(d, raw, path)}
	list, at := raw.Branches.list, path+".branches"
	if set := raw.Branches.set; set != "" {
		var ok bool
		if list, ok = l.raw.BranchSets[set]; !ok {
			l.flow.refuse(at, meant(set, keys(l.raw.BranchSets)), "There is no branch set called %q.", set)
			return
		}
		at = "branch_sets." + set
	}
	if len(list) == 0 {
		l.flow.refuse(at, "Add {to: ...}.", "The action %s leads nowhere.", raw.Name)
	}
	asks := l.asks(d, a.Needs)
	for i, b := range list {
		path := fmt.Sprintf("%s[%d]", at, i)
		branch := l.branch(d, b, path, asks)
		switch end := i == len(list)-1; {
		case b.When == "" && !l.flow.has(path+".when") && !end:
			l.flow.refuse(path, "Add when, or make it the last.", "The branches after this one are never reached.")
		case b.When != "" && end:
			l.flow.refuse(path+".when", "Add a last branch with only to.", "The last branch has a condition, so that there may be no way on.")
		}
		a.Branches = append(a.Branches, branch)
		d.way.actions = append(d.way.actions, way{branch.To, path})
	}
	d.Actions = append(d.Actions, a)
}

// needs returns the fields that the action needs: as written, or the required
// fields of the state.
func (l *loader) needs(d *draft, raw *rawAction, path string) []string {
	needs := []string{}
	if raw.Needs == nil {
		for _, u := range d.Fields {
			if u.Required {
				needs = append(needs, u.Name)
			}
		}
		return needs
	}
	for i, name := range *raw.Needs {
		at := fmt.Sprintf("%s.needs[%d]", path, i)
		u, ok := d.Use(name)
		switch {
		case !ok:
			l.flow.refuse(at, "Add it to the fields of the state.", "The action %s needs %q, which the state %s does not ask for.", raw.Name, name, d.name)
		case len(u.NeededIf) > 0:
			l.flow.refuse(at, "Remove it here: needed_if says when.", "The action %s always needs %s, which is needed only at times.", raw.Name, name)
		case slices.Contains(needs, name):
			l.flow.refuse(at, "Keep one.", "The action %s needs %s twice.", raw.Name, name)
		}
		needs = append(needs, name)
	}
	return needs
}

// asks lists what a condition of an action may read.
func (l *loader) asks(d *draft, needs []string) []ask {
	var asks []ask
	for _, u := range d.Fields {
		f := l.graph.Fields[u.Name]
		if goType(f.Kind) == nil {
			continue
		}
		switch {
		case slices.Contains(needs, u.Name):
			asks = append(asks, ask{u.Name, f.Kind, false})
		case len(u.NeededIf) > 0:
			asks = append(asks, ask{u.Name, f.Kind, true})
		}
	}
	return asks
}

// branch resolves one branch of a state.
func (l *loader) branch(d *draft, raw rawBranch, path string, asks []ask) Branch {
	b := Branch{To: raw.To}
	if strings.HasPrefix(raw.To, ".") {
		b.To = d.Stage + raw.To
	}
	switch {
	case raw.To == "":
		l.flow.refuse(path, "Add to.", "The branch has no target.")
	case b.To != Return && l.graph.byID[b.To] == nil:
		l.flow.refuse(path+".to", meant(b.To, keys(l.graph.byID)), "The branch of %s leads to %q, which is not a state.", d.name, b.To)
	}
	if raw.When == "" {
		if l.flow.has(path + ".when") {
			l.flow.refuse(path+".when", "Remove when, or fill it in.", "The condition is empty.")
		}
		return b
	}
	when, bad := l.compile(raw.When, asks, d.Plan != "")
	if bad != nil {
		l.flow.refuseAt(l.inside(path+".when", raw.When, bad.at), bad.next, "%s", bad.message)
	}
	b.When = when
	return b
}

func (l *loader) compile(source string, asks []ask, hasPlan bool) (*Condition, *misfit) {
	key := compiledKey{source, fmt.Sprint(asks), hasPlan}
	out, ok := l.cache[key]
	if !ok {
		out.condition, out.bad = compile(source, scope{
			asks: asks, hasPlan: hasPlan, stages: l.stageIDs(),
			field: func(name string) *Field { return l.graph.Fields[name] },
		})
		l.cache[key] = out
	}
	return out.condition, out.bad
}

// inside returns the place of a character of a one-line text at path. A text
// that is written with escapes or over several lines is pointed at as a whole.
func (l *loader) inside(path, s string, at int) place {
	p := l.flow.find(path)
	if p.line > len(l.flow.lines) {
		return p
	}
	line := []rune(l.flow.lines[p.line-1])
	from := min(p.column-1, len(line))
	if from < len(line) && (line[from] == '"' || line[from] == '\'') {
		from++
	}
	if strings.HasPrefix(string(line[from:]), s) {
		return place{p.line, from + 1 + at}
	}
	return p
}
