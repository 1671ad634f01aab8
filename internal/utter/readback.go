package utter

import (
	"math"
	"slices"
	"strings"

	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/units"
	"belay/internal/wording"
)

// ReadBack says each value of the draft with its unit and, for a setting, its
// change and whether it is the proposed one. It prints what would be saved:
// nothing is rounded away.
func (r Reading) ReadBack(s Scene) []string {
	out := []string{}
	for _, f := range r.Found {
		label := wording.Plain(f.Field.Label) + ": "
		if strings.HasSuffix(label, "?: ") {
			label = strings.TrimSuffix(label, ": ") + " "
		}
		out = append(out, label+valueText(f.Field, f.Value)+changeText(f, s)+"."+r.needText(f.Field))
	}
	return out
}

// needText warns that a form leaves a value out which another answer makes
// needless.
func (r Reading) needText(f session.Field) string {
	for other, wanted := range f.NeededIf {
		if v, told := r.Values[other].(string); told && !slices.Contains(wanted, v) {
			return " It is not needed after this answer."
		}
	}
	return ""
}

func valueText(f session.Field, v any) string {
	switch v := v.(type) {
	case float64:
		return exact(f.Unit, v)
	case bool:
		if v {
			return "yes"
		}
		return "no"
	case string:
		for _, c := range f.Choices {
			if c.Value == v {
				return strings.TrimSuffix(wording.Plain(c.Label), ".")
			}
		}
		return v
	case []trial.Row:
		var rows []string
		for _, row := range v {
			for _, c := range f.Columns {
				if x, ok := row[c.Name]; ok {
					rows = append(rows, exact(c.Unit, x))
				}
			}
		}
		return strings.Join(rows, "; ")
	}
	return ""
}

// exact prints v as units.Format does where that loses nothing, else with all
// its digits.
func exact(unit string, v float64) string {
	text := wording.Measure(unit, v)
	if back, err := units.Parse(unit, text); err == nil && math.Abs(back-v) < 1e-9 {
		return text
	}
	switch unit {
	case "points", "pieces":
		return wording.Number(v)
	case "×", "%":
		return wording.Number(v) + unit
	}
	return wording.Number(v) + wording.NBSP + unit
}

// changeText compares a setting with what is in force and with the proposal.
func changeText(f Found, s Scene) string {
	v, ok := f.Value.(float64)
	i := slices.IndexFunc(wording.Settings, func(x wording.Setting) bool { return x.Name == f.Field.Name })
	if !ok || i < 0 || wording.Settings[i].Number == nil || s.Trial {
		return ""
	}
	now, next := wording.Settings[i].Number(s.Now), wording.Settings[i].Number(s.Next)
	text := ""
	switch d := v - now; {
	case now == 0:
	case math.Abs(d) < 1e-9:
		text = ", the same as before"
	case d > 0:
		text = ", " + exact(f.Field.Unit, roundOff(d)) + " higher than before"
	default:
		text = ", " + exact(f.Field.Unit, roundOff(-d)) + " lower than before"
	}
	if next != 0 && math.Abs(next-v) > 1e-9 {
		text += ". The proposal is " + exact(f.Field.Unit, next)
	}
	return text
}

// roundOff takes away what binary fractions leave behind.
func roundOff(v float64) float64 { return math.Round(v*1e6) / 1e6 }
