package flow

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"belay/internal/fault"
	"belay/internal/trial"
	"belay/internal/units"
)

// checker collects the wrong fields of one answer.
type checker struct {
	graph *Graph
	wrong []fault.Field
}

func (c *checker) refuse(name, format string, args ...any) {
	c.wrong = append(c.wrong, fault.Field{Field: name, Message: fmt.Sprintf(format, args...)})
}

// CheckValues checks the answers to a state for an action: only fields of the
// state, all that the action needs, each of its kind and in its range. It
// returns a copy with texts trimmed and blank ones left out, and what is
// wrong, in the order of the state's fields. A text is never read as a
// number: see ParseValues.
func (g *Graph) CheckValues(s *State, a *Action, v trial.Values) (trial.Values, []fault.Field) {
	c := &checker{graph: g}
	out := trial.Values{}
	for _, u := range s.Fields {
		f := g.Fields[u.Name]
		if x, given := v[u.Name]; given {
			if y, keep := c.value(f, x); keep {
				out[u.Name] = y
			}
		}
	}
	for _, u := range s.Fields {
		_, have := out[u.Name]
		if !have && u.Needed(a, out) && !c.refused(u.Name) {
			c.missing(g.Fields[u.Name])
		}
	}
	for _, name := range v.Names() {
		if _, asked := s.Use(name); !asked {
			c.refuse(name, "This step does not ask for %q.", name)
		}
	}
	return out, c.wrong
}

// refused reports whether something is already said about the field.
func (c *checker) refused(name string) bool {
	return slices.ContainsFunc(c.wrong, func(f fault.Field) bool {
		return f.Field == name || strings.HasPrefix(f.Field, name+".")
	})
}

func (c *checker) missing(f *Field) {
	switch f.Kind {
	case number:
		c.refuse(f.Name, "%s is missing. Enter a value from %s, such as %s.", f.Label, f.span(), f.Example)
	case choice, yesno:
		c.refuse(f.Name, "%s is missing. Choose one answer.", f.Label)
	case readings:
		c.refuse(f.Name, "%s are missing. Enter %s.", f.Label, f.rowsWanted())
	default:
		c.refuse(f.Name, "%s is missing. Enter a text of at most %d characters.", f.Label, f.MaxLength)
	}
}

// value checks one answer, and reports whether it is to be kept.
func (c *checker) value(f *Field, x any) (any, bool) {
	before := len(c.wrong)
	switch f.Kind {
	case number:
		n, ok := x.(float64)
		if !ok {
			c.refuse(f.Name, "%s must be a number, such as %s.", f.Label, f.Example)
			return nil, false
		}
		c.number(f, f.Name, n)
		x = n + 0 // a negative zero becomes zero
	case yesno:
		if _, ok := x.(bool); !ok {
			c.refuse(f.Name, "%s must be answered with yes or no.", f.Label)
		}
	case choice:
		if s, ok := x.(string); !ok || !slices.Contains(f.values(), s) {
			c.refuse(f.Name, "%s has no such answer. Choose one of: %s.", f.Label, strings.Join(f.labels(), "; "))
		}
	case text:
		return c.text(f, x)
	case readings:
		return c.readings(f, x)
	}
	return x, len(c.wrong) == before
}

func (f *Field) labels() []string {
	out := make([]string, 0, len(f.Choices))
	for _, c := range f.Choices {
		out = append(out, c.Label)
	}
	return out
}

// whole are the units that are counted in whole numbers.
var whole = []string{"×", "clk", "MT/s", "pieces"}

func (c *checker) number(f *Field, name string, n float64) {
	switch {
	case math.IsNaN(n) || math.IsInf(n, 0):
		c.refuse(name, "%s is not a number. Enter a value from %s, such as %s.", f.Label, f.span(), f.Example)
	case n < f.Min || n > f.Max:
		side := "above"
		if n < f.Min {
			side = "below"
		}
		offer, meant := f.slip(n)
		c.refuse(name, "%s: %s is %s the range.%s Enter a value from %s, such as %s.",
			f.Label, amount(f.Unit, n), side, offer, f.span(), f.Example)
		c.wrong[len(c.wrong)-1].Suggest = meant
	case n != math.Trunc(n) && f.Step == math.Trunc(f.Step) && slices.Contains(whole, f.Unit):
		c.refuse(name, "%s must be a whole number from %s, such as %s.", f.Label, f.span(), f.Example)
	}
}

// span prints the range of a number with its unit.
func (f *Field) span() string { return amount(f.Unit, f.Min) + " to " + amount(f.Unit, f.Max) }

// amount prints a number as it was typed, with its unit: rounding might print
// a value that is out of range as one that is in it.
func amount(unit string, v float64) string {
	n := strconv.FormatFloat(v, 'f', -1, 64)
	if math.Abs(v) >= 1e15 {
		n = strconv.FormatFloat(v, 'g', 4, 64)
	}
	switch unit {
	case "points", "pieces":
		return n
	case "×", "%":
		return n + unit
	}
	return n + "\u00a0" + unit
}

func (c *checker) text(f *Field, x any) (any, bool) {
	s, ok := x.(string)
	if !ok || !utf8.ValidString(s) {
		c.refuse(f.Name, "%s must be a text.", f.Label)
		return nil, false
	}
	s = strings.TrimSpace(s)
	if i := strings.IndexFunc(s, unreadable); i >= 0 {
		r, _ := utf8.DecodeRuneInString(s[i:])
		c.refuse(f.Name, "%s holds an invisible character (U+%04X). Type the text again on one line.", f.Label, r)
		return nil, false
	}
	if n := utf8.RuneCountInString(s); n > f.MaxLength {
		c.refuse(f.Name, "%s has %d characters. Keep it to at most %d.", f.Label, n, f.MaxLength)
		return nil, false
	}
	return s, s != ""
}

func (c *checker) readings(f *Field, x any) (any, bool) {
	rows, ok := x.([]trial.Row)
	if !ok {
		c.refuse(f.Name, "%s must be a list of readings.", f.Label)
		return nil, false
	}
	if len(rows) == 0 && f.Rows[0] > 0 {
		return nil, false // left open
	}
	if len(rows) < f.Rows[0] || len(rows) > f.Rows[1] {
		c.refuse(f.Name, "%s: %d are given. Enter %s.", f.Label, len(rows), f.rowsWanted())
		return nil, false
	}
	before := len(c.wrong)
	out := make([]trial.Row, 0, len(rows))
	for i, row := range rows {
		out = append(out, c.row(f, i, row))
	}
	return out, len(c.wrong) == before
}

func (c *checker) row(f *Field, i int, row trial.Row) trial.Row {
	out := make(trial.Row, len(row))
	for _, column := range f.Columns {
		name := fmt.Sprintf("%s.%d.%s", f.Name, i, column)
		g := c.graph.Fields[column]
		n, ok := row[column]
		if !ok {
			c.refuse(name, "%s is missing in reading %d. Enter a value from %s, such as %s.", g.Label, i+1, g.span(), g.Example)
			continue
		}
		c.number(g, name, n)
		out[column] = n + 0
	}
	for _, name := range keys(row) {
		if !slices.Contains(f.Columns, name) {
			c.refuse(fmt.Sprintf("%s.%d.%s", f.Name, i, name), "These readings have no column %q.", name)
		}
	}
	return out
}

func (f *Field) rowsWanted() string {
	if f.Rows[0] == f.Rows[1] {
		return fmt.Sprintf("%d readings", f.Rows[0])
	}
	return fmt.Sprintf("%d to %d readings", f.Rows[0], f.Rows[1])
}

// slip says which other unit would explain a number that is out of range, and
// what to type then; "" if none would. It only offers: nothing is converted.
func (f *Field) slip(n float64) (string, any) {
	s, ok := units.SlipOf(f.Unit, n, f.Min, f.Max)
	if !ok {
		return "", nil
	}
	return fmt.Sprintf(" If you mean %s%s type %s.", amount(s.Unit, n), comma(s.Note), strconv.FormatFloat(s.Value, 'f', -1, 64)), s.Value
}

// comma ends the clause before "type".
func comma(note string) string {
	if strings.HasSuffix(note, ",") {
		return note
	}
	return note + ","
}
