package calc

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"reflect"
	"slices"
	"strings"

	"belay/internal/fault"
)

// decode reads a JSON object into T. Keys are those of the json tags; a key
// that is missing or null takes the default tag, and is refused if the field
// has a required tag.
func decode[T any](body []byte) (T, error) {
	var in T
	var given map[string]json.RawMessage
	d := json.NewDecoder(bytes.NewReader(body))
	if err := d.Decode(&given); err != nil {
		return in, fault.New(fault.Invalid, "The inputs are not a JSON object.", "Send one object with the inputs of this calculator.").Because(err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return in, fault.New(fault.Invalid, "There is something behind the inputs.", "Send one JSON object and nothing else.")
	}
	var c checks
	var known []string
	target := reflect.ValueOf(&in).Elem()
	for i := range target.NumField() {
		f := target.Type().Field(i)
		key := f.Tag.Get("json")
		known = append(known, key)
		raw, there := given[key]
		there = there && string(raw) != "null"
		fallback, has := f.Tag.Lookup("default")
		_, required := f.Tag.Lookup("required")
		switch {
		case there:
			c.parse(key, raw, target.Field(i))
		case has:
			c.parse(key, literal(f.Type, fallback), target.Field(i))
		case required:
			c.refuse(key, "This input is missing: %s", f.Tag.Get("help"))
		}
	}
	for key := range given {
		if !slices.Contains(known, key) {
			c.refuse(key, "There is no such input here. There are: %s.", strings.Join(known, ", "))
		}
	}
	slices.SortStableFunc(c.wrong, func(a, b fault.Field) int { return strings.Compare(a.Field, b.Field) })
	return in, c.fault()
}

// literal is the text of a default as JSON.
func literal(t reflect.Type, text string) json.RawMessage {
	if t.Kind() == reflect.String {
		text = `"` + text + `"`
	}
	return json.RawMessage(text)
}

func (c *checks) parse(key string, raw json.RawMessage, into reflect.Value) {
	err := json.Unmarshal(raw, into.Addr().Interface())
	var f *fault.Error
	switch {
	case err == nil:
	case errors.As(err, &f):
		c.refuse(key, "%s", f.Msg)
	default:
		c.refuse(key, "This must be %s.", kindOf(into.Type()))
	}
}

// kindOf names what a field takes.
func kindOf(t reflect.Type) string {
	switch t.Kind() {
	case reflect.Pointer:
		return kindOf(t.Elem())
	case reflect.Float64:
		return "a number"
	case reflect.Int:
		return "a whole number"
	case reflect.String:
		return "a text"
	case reflect.Bool:
		return "true or false"
	case reflect.Slice:
		if t.Elem().Kind() == reflect.Float64 {
			return "a list of numbers"
		}
		return "a list, each entry as the contract describes it"
	}
	return "as the contract describes it"
}
