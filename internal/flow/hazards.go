package flow

import (
	"slices"
	"strings"

	"belay/internal/safety"
)

// planTouches says what a search sets when its proposal is confirmed.
var planTouches = map[string][]safety.Touch{
	"power-cap":      {safety.LiftLimit},
	"memory-profile": {safety.SetMemoryVoltage},
	"voltage-mode":   {safety.SetCoreVoltage},
	"core":           {safety.SetCoreVoltage},
	"wide-vector":    {safety.SetCoreVoltage},
	"cache":          {safety.SetCoreVoltage},
	"memory":         {safety.SetMemoryVoltage},
	"together":       {safety.SetCoreVoltage, safety.SetMemoryVoltage},
	"daily":          {safety.SetCoreVoltage, safety.SetMemoryVoltage},
}

// brought is a hazard of a state and what brings it.
type brought struct {
	touch safety.Touch
	by    string
}

// hazards lists every hazard of a state: from its fields, its plan, its trial
// and what it declares.
func (l *loader) hazards(d *draft) []brought {
	var out []brought
	for _, u := range d.Fields {
		f := l.graph.Fields[u.Name]
		for _, name := range append([]string{u.Name}, f.Columns...) {
			t := safety.TouchOf(name)
			if t == safety.ReadVoltage || t != "" && d.Confirms {
				out = append(out, brought{t, "the field " + name})
			}
		}
	}
	if d.Confirms {
		for _, t := range planTouches[d.Plan] {
			out = append(out, brought{t, "the search " + d.Plan})
		}
	}
	if d.Trial {
		out = append(out, brought{safety.RunLoad, "its trial"})
	}
	for _, t := range d.raw.Touches {
		out = append(out, brought{t, "its list touches"})
	}
	return out
}

// checkHazards asks for a caution for each hazard, and notes the hazards on
// the state.
func (l *loader) checkHazards(d *draft) {
	d.Touches = nil
	for _, h := range l.hazards(d) {
		if slices.Contains(d.Touches, h.touch) {
			continue
		}
		d.Touches = append(d.Touches, h.touch)
		guards := l.guards(h.touch)
		switch {
		case len(guards) == 0:
			l.flow.refuse(join(d.path, "cautions"), "Write one, and add it.", "No caution guards %s, which comes with %s in the state %s.", h.touch, h.by, d.name)
		case !slices.ContainsFunc(d.Cautions, func(id string) bool { return slices.Contains(guards, id) }):
			l.flow.refuse(join(d.path, "cautions"), "Add one of: "+strings.Join(guards, ", ")+".", "The state %s shows no caution for %s, which comes with %s.", d.name, h.touch, h.by)
		}
	}
	warnings := 0
	for _, id := range d.Cautions {
		if l.graph.Cautions[id].Signal == "WARNING" {
			warnings++
		}
	}
	if warnings > 1 {
		l.flow.refuse(d.path+".cautions", "Split the state.", "The state %s shows %d warnings of the highest level; one is heeded.", d.name, warnings)
	}
}

// guards lists the cautions that guard against a hazard.
func (l *loader) guards(t safety.Touch) []string {
	var ids []string
	for _, c := range l.warned {
		if slices.Contains(c.Guards, t) {
			ids = append(ids, c.ID)
		}
	}
	return ids
}
