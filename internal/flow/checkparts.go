package flow

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"

	"belay/internal/safety"
	"belay/internal/trial"
	"belay/internal/units"
)

// Bounds of fields. Chosen: a note fits, and a table of readings can be typed.
const (
	maxText = 2000
	maxRows = 20
)

func (l *loader) checkGlossary() {
	for i, t := range l.graph.Glossary {
		path := fmt.Sprintf("terms[%d]", i)
		l.require(l.glossary, path, "term", map[string]string{"term": t.Term, "text": t.Text})
		l.checkPlain(l.glossary, path+".text", t.Text)
		for j, word := range append([]string{t.Term}, t.Also...) {
			at := path + ".term"
			if j > 0 {
				at = fmt.Sprintf("%s.also[%d]", path, j-1)
			}
			if lower := strings.ToLower(word); l.terms[lower] {
				l.glossary.refuse(at, "Keep it in one entry.", "The word %q is in the glossary twice.", word)
			} else {
				l.terms[lower] = true
			}
		}
	}
	// Links are looked at once every term is known.
	for i, t := range l.graph.Glossary {
		l.checkLinks(l.glossary, fmt.Sprintf("terms[%d].text", i), t.Text)
	}
}

// fieldKeys says which keys have a meaning for which kinds.
var fieldKeys = map[string][]string{
	"unit": {number}, "min": {number}, "max": {number}, "step": {number},
	"max_length": {text}, "choices": {choice}, "columns": {readings}, "rows": {readings},
}

func (l *loader) checkFields() {
	for i := range l.raw.Fields {
		f, path := &l.raw.Fields[i], fmt.Sprintf("fields[%d]", i)
		if strings.Contains(f.Name, "-") {
			l.flow.refuse(path+".name", "Write _ instead of -.", "A condition cannot read a field called %q.", f.Name)
		}
		if !slices.Contains(kinds, f.Kind) {
			l.flow.refuse(path+".kind", meant(f.Kind, kinds), "%q is not a kind of field.", f.Kind)
			continue
		}
		l.require(l.flow, path, "field", map[string]string{"label": f.Label, "why": f.Why})
		for key, texts := range map[string]string{"label": f.Label, "why": f.Why, "where": f.Where, "unknown": f.Unknown} {
			l.checkText(l.flow, path+"."+key, texts)
		}
		for _, key := range keys(fieldKeys) {
			if l.flow.has(path+"."+key) && !slices.Contains(fieldKeys[key], f.Kind) {
				l.flow.refuse(path+"."+key, "Remove it.", "%s has no meaning for a %s.", key, f.Kind)
			}
		}
		switch f.Kind {
		case number:
			l.checkNumber(f, path)
		case choice:
			l.checkChoice(f, path)
		case text:
			if f.MaxLength < 1 || f.MaxLength > maxText {
				l.flow.refuse(path+".max_length", "Add max_length.", "The text %s needs a length from 1 to %d characters.", f.Name, maxText)
			}
		case readings:
			l.checkReadings(f, path)
		}
	}
}

func (l *loader) checkNumber(f *Field, path string) {
	if !units.Known(f.Unit) {
		l.flow.refuse(path+".unit", `Use a symbol such as V, mV, MHz, W, °C, min, MT/s, ×, %, "points" or "pieces".`, "The number %s has no unit that is known: %q.", f.Name, f.Unit)
		return
	}
	for _, key := range []string{"min", "max", "step", "example"} {
		if !l.flow.has(path + "." + key) {
			l.flow.refuse(path, "Add it.", "The number %s has no %s.", f.Name, key)
			return
		}
	}
	if f.Min >= f.Max {
		l.flow.refuse(path+".max", "Exchange or correct them.", "The range of %s runs from %v to %v.", f.Name, f.Min, f.Max)
		return
	}
	if f.Step <= 0 || f.Step > f.Max-f.Min {
		l.flow.refuse(path+".step", "Write the smallest useful step.", "The step of %s is %v, its range %v wide.", f.Name, f.Step, f.Max-f.Min)
	}
	v, err := units.Parse(f.Unit, f.Example)
	if err != nil || v < f.Min || v > f.Max {
		l.flow.refuse(path+".example", "Give a value that would be accepted.", "The example %q of %s is not a number from %v to %v.", f.Example, f.Name, f.Min, f.Max)
	}
}

func (l *loader) checkChoice(f *Field, path string) {
	if len(f.Choices) < 2 {
		l.flow.refuse(path+".choices", "Add choices, or make it a yesno.", "The choice %s offers fewer than two answers.", f.Name)
	}
	seen := map[string]bool{}
	for i, c := range f.Choices {
		at := fmt.Sprintf("%s.choices[%d]", path, i)
		if seen[c.Value] {
			l.flow.refuse(at+".value", "Rename one.", "The choice %s offers %q twice.", f.Name, c.Value)
		}
		seen[c.Value] = true
		if f.Name == "outcome" && !slices.Contains(trial.Outcomes, trial.Outcome(c.Value)) {
			l.flow.refuse(at+".value", meant(c.Value, append(failing(), string(trial.Clean))), "%q is not how a trial can end.", c.Value)
		}
		l.require(l.flow, at, "choice", map[string]string{"value": c.Value, "label": c.Label})
		l.checkText(l.flow, at+".label", c.Label)
	}
}

func (l *loader) checkReadings(f *Field, path string) {
	if len(f.Columns) == 0 {
		l.flow.refuse(path, "Add columns: the names of number fields.", "The table %s has no columns.", f.Name)
	}
	for i, c := range f.Columns {
		at := fmt.Sprintf("%s.columns[%d]", path, i)
		switch g := l.graph.Fields[c]; {
		case g == nil:
			l.flow.refuse(at, meant(c, keys(l.graph.Fields)), "There is no field called %q for a column.", c)
		case g.Kind != number:
			l.flow.refuse(at, "Use a number field.", "The column %s is a %s.", c, g.Kind)
		case slices.Contains(f.Columns[:i], c):
			l.flow.refuse(at, "Keep one.", "The column %s is here twice.", c)
		}
	}
	if f.Rows[0] < 0 || f.Rows[1] < max(f.Rows[0], 1) || f.Rows[1] > maxRows {
		l.flow.refuse(path+".rows", "Write [least, most].", "The table %s runs from %d to %d rows; at most %d can be typed.", f.Name, f.Rows[0], f.Rows[1], maxRows)
	}
}

// signals is the signal word for each harm. Source: ISO 3864-2 and the NOTICE
// of ANSI Z535.4.
var signals = map[string]string{"data": "NOTICE", "hardware": "NOTICE", "injury": "CAUTION", "serious-injury": "WARNING"}

// numbered are the hazards whose caution states this step's limit in figures.
var numbered = []safety.Touch{safety.SetCoreVoltage, safety.SetMemoryVoltage, safety.LiftLimit}

func (l *loader) checkCautions() {
	for i := range l.warned {
		c, path := &l.warned[i], fmt.Sprintf("cautions[%d]", i)
		want, ok := signals[c.Harm]
		switch {
		case !ok:
			l.cautions.refuse(path+".harm", meant(c.Harm, keys(signals)), "%q is not a kind of harm.", c.Harm)
		case c.Signal != want:
			l.cautions.refuse(path+".signal", "Write "+want+".", "The signal word for harm to %s is %s, not %q.", harmed(c.Harm), want, c.Signal)
		}
		parts := map[string]string{"hazard": c.Hazard, "consequence": c.Consequence, "avoid": c.Avoid, "limit": c.Limit, "way_back": c.WayBack}
		l.require(l.cautions, path, "caution", parts)
		for _, key := range keys(parts) {
			l.checkText(l.cautions, path+"."+key, parts[key])
		}
		l.checkGuards(c, path)
	}
}

func harmed(harm string) string {
	switch harm {
	case "injury":
		return "people"
	case "serious-injury":
		return "life"
	}
	return harm
}

func (l *loader) checkGuards(c *Caution, path string) {
	if len(c.Guards) == 0 {
		l.cautions.refuse(path, "Add guards: the hazards that it covers.", "The caution %s guards nothing.", c.ID)
	}
	for i, t := range c.Guards {
		if !safety.KnownTouch(t) {
			l.cautions.refuse(fmt.Sprintf("%s.guards[%d]", path, i), meant(string(t), touchNames()), "%q is not a hazard that a caution can guard.", t)
		}
		if slices.Contains(numbered, t) && c.Limit != "" && !strings.ContainsAny(c.Limit, "{0123456789") {
			l.cautions.refuse(path+".limit", "Add the figure or a placeholder such as {ceiling}.", "The limit of %s names no figure.", c.ID)
		}
	}
}

func touchNames() []string {
	names := make([]string, 0, len(safety.Touches))
	for _, t := range safety.Touches {
		names = append(names, string(t))
	}
	return names
}

// checkPlatform asks for every limit and where it comes from.
func (l *loader) checkPlatform() {
	p := &l.graph.Platform
	l.require(l.platform, "", "platform", map[string]string{"id": p.ID, "title": p.Title})
	limits := keysOf(reflect.ValueOf(&p.Limits).Elem())
	for _, key := range keys(limits) {
		path := "limits." + key
		v := limits[key].Convert(reflect.TypeFor[float64]()).Float()
		switch {
		case !l.platform.has(path):
			l.platform.refuse("limits", "Add it with its source.", "The limit %s is missing.", key)
		case v < 0 || math.IsInf(v, 0) || math.IsNaN(v) || v == 0 && key != "set_above_ceiling_v":
			l.platform.refuse(path, "Write a figure above zero.", "The limit %s is %v.", key, v)
		case strings.TrimSpace(p.Sources[key]) == "":
			l.platform.refuse(path, `Add it under sources: a publication, or "common practice, no source", or "chosen: why".`, "The limit %s names no source.", key)
		}
	}
	for _, key := range keys(p.Sources) {
		if _, ok := limits[key]; !ok {
			l.platform.refuse("sources."+key, meant(key, keys(limits)), "%q is not a limit that needs a source.", key)
		}
	}
}
