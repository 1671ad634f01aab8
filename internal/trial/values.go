package trial

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
)

// Row is one line of a list of readings, by field name.
type Row map[string]float64

// Values are the answers to the fields of one prompt, by field name. A value
// is a float64 (number), a bool (yesno), a string (choice, text) or a []Row
// (readings); nothing else. A field that was left open has no entry.
type Values map[string]any

// UnmarshalJSON reads values into their four Go types and refuses others.
func (v *Values) UnmarshalJSON(data []byte) error {
	var raw map[string]any
	if err := json.Unmarshal(data, &raw); err != nil {
		return err
	}
	out := make(Values, len(raw))
	for name, x := range raw {
		if x == nil {
			continue
		}
		n, err := normal(x)
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		out[name] = n
	}
	*v = out
	return nil
}

func normal(x any) (any, error) {
	switch x := x.(type) {
	case float64, bool, string:
		return x, nil
	case []any:
		rows := make([]Row, 0, len(x))
		for i, item := range x {
			object, ok := item.(map[string]any)
			if !ok {
				return nil, fmt.Errorf("reading %d is not an object of numbers", i+1)
			}
			row := make(Row, len(object))
			for name, cell := range object {
				number, ok := cell.(float64)
				if !ok {
					return nil, fmt.Errorf("%s in reading %d is not a number", name, i+1)
				}
				row[name] = number
			}
			rows = append(rows, row)
		}
		return rows, nil
	}
	return nil, fmt.Errorf("a value is a number, true or false, text, or a list of readings")
}

// Number returns the number under name, and whether there is one.
func (v Values) Number(name string) (float64, bool) {
	x, ok := v[name].(float64)
	return x, ok && !math.IsNaN(x)
}

// Text returns the text under name, or "".
func (v Values) Text(name string) string {
	x, _ := v[name].(string)
	return x
}

// Yes reports whether name was answered with yes.
func (v Values) Yes(name string) bool {
	x, _ := v[name].(bool)
	return x
}

// Rows returns the readings under name.
func (v Values) Rows(name string) []Row {
	x, _ := v[name].([]Row)
	return x
}

// Names returns the field names in alphabetical order.
func (v Values) Names() []string { return slices.Sorted(maps.Keys(v)) }

// Values returns the settings under their API names. What is as delivered has
// no entry, but for steps and offsets, where zero is a value to enter.
func (s Settings) Values() Values {
	body, err := json.Marshal(s)
	if err != nil {
		panic("settings are plain data: " + err.Error())
	}
	v := Values{}
	if err := v.UnmarshalJSON(body); err != nil {
		panic("settings are plain data: " + err.Error())
	}
	v["wide_vector_offset"] = float64(s.WideVectorOffset)
	v["low_end_mv"] = s.LowEndMV
	v["offset_v"] = float64(s.Offset)
	return v
}
