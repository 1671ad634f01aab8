package page

import (
	"strings"

	"belay/internal/session"
	"belay/internal/wording"
)

// offerView is a button beside a refused value: it sends the form again with
// the value that was probably meant, or insists on the one that was typed.
type offerView struct{ Name, Value, Label string }

// offersOf lists what can be done about the problems of a field.
func offersOf(f session.Field, typed typedForm) []offerView {
	var out []offerView
	for _, x := range typed.problems {
		if ownerOf(x.Field) != f.Name {
			continue
		}
		switch meant := x.Suggest.(type) {
		case float64:
			out = append(out, offerView{"correct", x.Field + "=" + wording.Number(meant), "Use " + amountOf(f, x.Field, meant)})
		case string:
			out = append(out, offerView{"correct", x.Field + "=" + meant, "Use “" + choiceLabel(f, meant) + "”"})
		}
		if v := typed.values[x.Field]; x.Confirm && len(v) > 0 {
			out = append(out, offerView{"confirm", x.Field + "=" + v[0], "It is as I typed it"})
		}
	}
	return out
}

// amountOf prints a suggestion with the unit of the field, or of the column
// that the path names.
func amountOf(f session.Field, path string, v float64) string {
	unit := f.Unit
	for _, c := range f.Columns {
		if len(path) > len(c.Name) && path[len(path)-len(c.Name):] == c.Name {
			unit = c.Unit
		}
	}
	if unit = unitShown(unit); unit == "" {
		return wording.Number(v)
	}
	return wording.Number(v) + "\u00a0" + unit
}

// insisted returns the fields of the confirmations, each FIELD=VALUE, whose
// value still stands in the form.
func insisted(confirmations []string, form map[string][]string) []string {
	var out []string
	for _, c := range confirmations {
		name, value, _ := strings.Cut(c, "=")
		if v := form[name]; len(v) > 0 && v[0] == value {
			out = append(out, name)
		}
	}
	return out
}
