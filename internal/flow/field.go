package flow

import (
	"slices"

	"belay/internal/trial"
)

// Kinds of fields.
const (
	number   = "number"
	choice   = "choice"
	yesno    = "yesno"
	text     = "text"
	readings = "readings"
)

var kinds = []string{number, choice, yesno, text, readings}

// values lists what a choice field may be answered with.
func (f *Field) values() []string {
	out := make([]string, 0, len(f.Choices))
	for _, c := range f.Choices {
		out = append(out, c.Value)
	}
	return out
}

// Use returns how the state asks for the field, and whether it does.
func (s *State) Use(field string) (FieldUse, bool) {
	for _, u := range s.Fields {
		if u.Name == field {
			return u, true
		}
	}
	return FieldUse{}, false
}

// Action returns the action with this name, or nil.
func (s *State) Action(name string) *Action {
	for i := range s.Actions {
		if s.Actions[i].Name == name {
			return &s.Actions[i]
		}
	}
	return nil
}

// Needed reports whether the answers make the field needed for the action:
// the action needs it, or all conditions of its needed_if hold and the action
// needs what they ask about.
func (u FieldUse) Needed(a *Action, v trial.Values) bool {
	if slices.Contains(a.Needs, u.Name) {
		return true
	}
	for other, values := range u.NeededIf {
		if !slices.Contains(a.Needs, other) || !slices.Contains(values, spoken(v[other])) {
			return false
		}
	}
	return len(u.NeededIf) > 0
}

// spoken is a value as needed_if writes it.
func spoken(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case bool:
		if v {
			return "yes"
		}
		return "no"
	}
	return ""
}
