package page

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"belay/internal/fault"
	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/units"
	"belay/internal/wording"
)

// cardChoices is the most choices shown as cards; more become a list to pick
// from. Chosen: eight cards fit on one phone screen.
const cardChoices = 8

// shownRows is the most rows of readings offered without scripts. Chosen:
// enough for three repeats and some to spare.
const shownRows = 6

// typedForm is what a person typed into a refused form, with what was wrong.
type typedForm struct {
	values   map[string][]string
	problems []fault.Field
	kept     bool // typed for a prompt that has passed: readbacks are dropped
	action   string
	// confirmed are the odd values that the person insists on, each FIELD=VALUE.
	confirmed []string
}

// fieldView is one question, ready to print.
type fieldView struct {
	Name, ID, Kind string
	Label          string
	Unit           string
	Hint           string
	Help           []piece
	Unknown        []piece
	Error          string
	Value          string
	Optional       bool
	NeededIf       string // JSON for the script, or ""
	NeededText     string // the same in words
	Choices        []choiceView
	AsList         bool // choices as a list to pick from
	Columns        []columnView
	Rows           [][]cellView
	LeastRows      int
	MostRows       int
	Readback       bool
	Now, Proposed  string // readback: bare numbers for the script
	Keys           string // kind of keyboard for a number
	Describe       string // ids of hint and error
	Offers         []offerView
}

// RowNumber is the number of a row as a person counts.
func (fieldView) RowNumber(i int) int { return i + 1 }

// choiceView is one card of a choice.
type choiceView struct {
	ID, Value, Label string
	Checked          bool
}

// columnView heads one column of readings.
type columnView struct{ Label, Unit, Hint string }

// cellView is one reading, named as the form names it: "readings.0.score".
type cellView struct {
	Name, Label, Unit, Value string
	Wrong                    bool
}

func fieldViews(base string, p session.Prompt, now trial.Settings, typed typedForm) []fieldView {
	out := make([]fieldView, 0, len(p.Fields))
	for _, f := range p.Fields {
		v := fieldView{
			Name: f.Name, ID: "f-" + f.Name, Kind: f.Kind, Label: wording.Plain(f.Label), Unit: unitShown(f.Unit),
			Help: linked(base, f.Help), Unknown: linked(base, f.Unknown), Readback: f.Readback,
			Optional: !f.Required && len(f.NeededIf) == 0, Error: problemOf(f.Name, typed.problems),
		}
		v.Hint, v.Keys = hint(f), "decimal"
		if f.Source != "" {
			v.Hint = strings.TrimSpace(v.Hint + " " + wording.Bound("Filled in from: "+wording.Plain(f.Source)+"."))
		}
		if f.Min != nil && *f.Min < 0 {
			v.Keys = "text" // some decimal keyboards have no minus
		}
		v.setNeeded(f, p.Fields)
		v.setValue(f, typed)
		switch f.Kind {
		case "choice", "yesno":
			v.setChoices(f)
		case "readings":
			v.setRows(f, typed)
		}
		if f.Readback {
			v.setReadback(f, p, now)
		}
		if !typed.kept {
			v.Offers = offersOf(f, typed)
		}
		v.Describe = v.described()
		out = append(out, v)
	}
	return out
}

// unitShown is the unit as it stands beside a field; counts and scores have
// none.
func unitShown(unit string) string {
	switch unit {
	case "points", "pieces", "×":
		return ""
	}
	return unit
}

// hint names the allowed range and an example.
func hint(f session.Field) string {
	var parts []string
	if f.Kind == "number" && f.Min != nil && f.Max != nil {
		parts = append(parts, "From "+wording.Bare(f.Unit, *f.Min)+" to "+strings.TrimSuffix(wording.Measure(f.Unit, *f.Max), "×")+".")
	}
	if f.Example != "" && !f.Readback {
		parts = append(parts, "For example "+f.Example+".")
	}
	if f.Readback {
		parts = append(parts, "Type it as you read it on the screen.")
	}
	return wording.Bound(strings.Join(parts, " "))
}

// problemOf joins what is wrong with the field or any part of it.
func problemOf(name string, problems []fault.Field) string {
	var out []string
	for _, x := range problems {
		if ownerOf(x.Field) == name {
			out = append(out, wording.Bound(x.Message))
		}
	}
	return strings.Join(out, " ")
}

// ownerOf is the field that a problem's path begins with: "scores.2.score"
// and "scores[2]" belong to scores.
func ownerOf(path string) string {
	if i := strings.IndexAny(path, ".["); i > 0 {
		return path[:i]
	}
	return path
}

func (v *fieldView) setNeeded(f session.Field, all []session.Field) {
	if len(f.NeededIf) == 0 {
		return
	}
	body, err := json.Marshal(f.NeededIf)
	if err != nil {
		return
	}
	v.NeededIf = string(body)
	var parts []string
	for _, other := range all {
		values, ok := f.NeededIf[other.Name]
		if !ok {
			continue
		}
		labels := make([]string, 0, len(values))
		for _, value := range values {
			labels = append(labels, choiceLabel(other, value))
		}
		parts = append(parts, "“"+wording.Plain(other.Label)+"” is: "+strings.Join(labels, "; "))
	}
	v.NeededText = "Needed only if " + strings.Join(parts, ", or ") + "."
}

func choiceLabel(f session.Field, value string) string {
	for _, c := range choicesOf(f) {
		if c.Value == value {
			return wording.Plain(c.Label)
		}
	}
	return value
}

// setValue fills in what was typed, else the known value. A readback is
// never filled in from anything but the person's own typing at this prompt.
func (v *fieldView) setValue(f session.Field, typed typedForm) {
	if values, ok := typed.values[f.Name]; ok && len(values) > 0 {
		if !f.Readback || !typed.kept {
			v.Value = values[0]
		}
		return
	}
	if !f.Readback {
		v.Value = known(f.Default)
	}
}

// known prints a default value as a person would type it.
func known(x any) string {
	switch x := x.(type) {
	case nil:
		return ""
	case string:
		return x
	case bool:
		if x {
			return "yes"
		}
		return "no"
	case float64:
		return wording.Number(x)
	case int:
		return strconv.Itoa(x)
	case units.Minutes:
		return wording.Number(float64(x)) // its String has two units
	case []trial.Row, []any:
		return ""
	}
	return fmt.Sprint(x)
}

func choicesOf(f session.Field) []session.Choice {
	if f.Kind == "yesno" {
		return []session.Choice{{Value: "yes", Label: "Yes"}, {Value: "no", Label: "No"}}
	}
	return f.Choices
}

func (v *fieldView) setChoices(f session.Field) {
	choices := choicesOf(f)
	v.AsList = len(choices) > cardChoices
	for i, c := range choices {
		id := v.ID
		if i > 0 && !v.AsList {
			id += "-" + strconv.Itoa(i)
		}
		v.Choices = append(v.Choices, choiceView{ID: id, Value: c.Value, Label: wording.Plain(c.Label), Checked: c.Value == v.Value})
	}
}

// setRows lays out the table of readings: all rows that may be filled in, so
// that it works without scripts.
func (v *fieldView) setRows(f session.Field, typed typedForm) {
	v.LeastRows, v.MostRows = 1, shownRows
	if f.Rows != nil {
		v.LeastRows, v.MostRows = max(1, f.Rows[0]), max(1, f.Rows[1])
	}
	given, _ := f.Default.([]trial.Row)
	rows := max(v.LeastRows, min(v.MostRows, shownRows), len(given), min(typedRows(f.Name, typed.values), v.MostRows))
	for _, c := range f.Columns {
		v.Columns = append(v.Columns, columnView{wording.Plain(c.Label), unitShown(c.Unit), hint(c)})
	}
	for i := range rows {
		var row []cellView
		for _, c := range f.Columns {
			cell := cellView{
				Name: f.Name + "." + strconv.Itoa(i) + "." + c.Name, Unit: unitShown(c.Unit),
				Label: wording.Plain(c.Label) + ", reading " + strconv.Itoa(i+1),
			}
			cell.Wrong = slices.ContainsFunc(typed.problems, func(x fault.Field) bool { return x.Field == cell.Name })
			if t := typed.values[cell.Name]; len(t) > 0 {
				cell.Value = t[0]
			} else if x, ok := valueAt(given, i, c.Name); ok && typed.values == nil {
				cell.Value = wording.Number(x)
			}
			row = append(row, cell)
		}
		v.Rows = append(v.Rows, row)
	}
	v.Hint = rowsHint(v.LeastRows, v.MostRows)
}

// typedRows is how many rows a form holds for a field, blank ones between
// them included.
func typedRows(field string, form map[string][]string) int {
	rows := 0
	for name := range form {
		rest, ok := strings.CutPrefix(name, field+".")
		digits, _, _ := strings.Cut(rest, ".")
		if i, err := strconv.Atoi(digits); ok && err == nil && i >= 0 {
			rows = max(rows, i+1)
		}
	}
	return rows
}

func valueAt(rows []trial.Row, i int, column string) (float64, bool) {
	if i >= len(rows) {
		return 0, false
	}
	x, ok := rows[i][column]
	return x, ok
}

func rowsHint(least, most int) string {
	switch {
	case least == most && least == 1:
		return "One reading."
	case least == most:
		return strconv.Itoa(least) + " readings, one in each row."
	}
	return strconv.Itoa(least) + " to " + strconv.Itoa(most) + " readings, one in each row. Leave the other rows empty."
}

// setReadback gives the script the numbers it needs to say the change back.
func (v *fieldView) setReadback(f session.Field, p session.Prompt, now trial.Settings) {
	for _, s := range wording.Settings {
		if s.Name != f.Name || s.Number == nil {
			continue
		}
		if x := s.Number(now); x != 0 {
			v.Now = wording.Number(x)
		}
		if p.Proposal != nil {
			if x := s.Number(p.Proposal.Settings); x != 0 {
				v.Proposed = wording.Number(x)
			}
		}
	}
}

func (v *fieldView) described() string {
	var ids []string
	if v.Error != "" {
		ids = append(ids, v.ID+"-error")
	}
	if v.Hint != "" || v.NeededText != "" {
		ids = append(ids, v.ID+"-hint")
	}
	return strings.Join(ids, " ")
}

// problemLines is the error summary of a refused form. Messages name their
// field themselves.
func problemLines(f *fault.Error, fields []fieldView) []problemLine {
	out := make([]problemLine, 0, len(f.Fields))
	for _, x := range f.Fields {
		line := problemLine{Message: wording.Bound(x.Message)}
		for _, v := range fields {
			if v.Name == ownerOf(x.Field) {
				line.Href = "#" + v.anchor(x.Field)
			}
		}
		out = append(out, line)
	}
	return out
}

// anchor returns the id of the cell called name, or that of the field.
func (v *fieldView) anchor(name string) string {
	for _, row := range v.Rows {
		for _, cell := range row {
			if cell.Name == name {
				return "f-" + name
			}
		}
	}
	return v.ID
}
