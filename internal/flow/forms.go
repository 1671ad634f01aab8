package flow

import (
	"errors"
	"maps"
	"slices"
	"strconv"
	"strings"

	"belay/internal/fault"
	"belay/internal/trial"
	"belay/internal/units"
)

// longest is how many bytes a typed number may have. Chosen: more than any
// number with its unit.
const longest = 64

// ParseValues reads the answers to a state from an HTML form: numbers as a
// person types them, "yes" and "no", choices, texts, and readings from names
// such as readings.0.load_voltage_v. Blank inputs are left open and blank
// readings dropped; other names of the form are ignored. What it returns is
// still to be checked with CheckValues, once nothing is wrong here.
func (g *Graph) ParseValues(s *State, form map[string][]string) (trial.Values, []fault.Field) {
	p := &formParser{checker: checker{graph: g}, form: form}
	out := trial.Values{}
	for _, u := range s.Fields {
		f := g.Fields[u.Name]
		if f.Kind == readings {
			if rows := p.rows(f); len(rows) > 0 {
				out[f.Name] = rows
			}
			continue
		}
		typed := p.one(f.Name)
		if typed == "" {
			continue
		}
		if v, ok := p.parse(f, typed); ok {
			out[f.Name] = v
		}
	}
	return out, p.wrong
}

type formParser struct {
	checker
	form map[string][]string
}

// one returns the trimmed value of an input.
func (p *formParser) one(name string) string {
	values := p.form[name]
	if len(values) == 0 {
		return ""
	}
	if len(values) > 1 {
		p.refuse(name, "This was answered %d times. Answer it once.", len(values))
		return ""
	}
	return strings.TrimSpace(values[0])
}

func (p *formParser) parse(f *Field, typed string) (any, bool) {
	switch f.Kind {
	case number:
		return p.typed(f, f.Name, typed)
	case yesno:
		if typed != "yes" && typed != "no" {
			p.refuse(f.Name, "%s must be answered with yes or no.", f.Label)
			return nil, false
		}
		return typed == "yes", true
	}
	return typed, true
}

// typed reads a number with or without its unit.
func (p *formParser) typed(f *Field, name, s string) (float64, bool) {
	if len(s) > longest {
		p.refuse(name, "%s is too long for a number. Enter a value from %s, such as %s.", f.Label, f.span(), f.Example)
		return 0, false
	}
	v, err := units.Parse(f.Unit, s)
	if err == nil {
		return v, true
	}
	message := "This is not a number."
	var known *fault.Error
	if errors.As(err, &known) {
		message = known.Msg + ". " + known.Next
	}
	p.refuse(name, "%s: %s The range is %s.", f.Label, message, f.span())
	return 0, false
}

// rows collects the readings of a form, in the order of their numbers.
func (p *formParser) rows(f *Field) []trial.Row {
	var rows []trial.Row
	for _, i := range p.numbers(f) {
		row := trial.Row{}
		for _, column := range f.Columns {
			name := f.Name + "." + strconv.Itoa(i) + "." + column
			typed := p.one(name)
			if typed == "" {
				continue
			}
			if v, ok := p.typed(p.graph.Fields[column], name, typed); ok {
				row[column] = v
			}
		}
		if len(row) > 0 {
			rows = append(rows, row)
		}
	}
	return rows
}

// numbers lists the row numbers that the form has for a field, at most a few
// more than the field may have.
func (p *formParser) numbers(f *Field) []int {
	found := map[int]bool{}
	for name := range p.form {
		rest, ok := strings.CutPrefix(name, f.Name+".")
		digits, _, _ := strings.Cut(rest, ".")
		i, err := strconv.Atoi(digits)
		if ok && err == nil && i >= 0 && strconv.Itoa(i) == digits {
			found[i] = true
		}
	}
	numbers := slices.Sorted(maps.Keys(found))
	if most := 2 * maxRows; len(numbers) > most {
		p.refuse(f.Name, "%s: %d rows are too many. Enter %s.", f.Label, len(numbers), f.rowsWanted())
		return nil
	}
	return numbers
}
