// Package strictjson reads JSON that comes from outside. It takes one
// document and refuses what would read differently from what it looks like:
// names given twice or in another case, unknown names, bytes that are not
// UTF-8, control and direction characters, numbers that no float64 holds, and
// deep nesting.
package strictjson

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"strconv"
	"strings"
	"unicode"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"belay/internal/fault"
)

// maxDepth bounds nesting. Chosen: that of a guide; answers are 3 deep.
const maxDepth = 32

// next is what a person does about a document that is refused.
const next = "Correct it as /api/v1/openapi.yaml describes it, and send it again."

// Decode checks body and reads it into v, a pointer. Names are those of the
// json tags, letter by letter. Faults are Invalid and name the field.
func Decode(body []byte, v any) error {
	if err := Check(body); err != nil {
		return err
	}
	err := json.Unmarshal(body, v, json.RejectUnknownMembers(true))
	var semantic *json.SemanticError
	switch {
	case err == nil:
		return nil
	case !errors.As(err, &semantic):
		return refuse("", "This is not what the call takes.").Because(err)
	case errors.Is(err, json.ErrUnknownName):
		return refuse(path(semantic.JSONPointer), "There is no such name here. Names are written in small letters.").Because(err)
	case semantic.Err != nil && semantic.JSONKind == 0 && semantic.GoType == nil:
		return refuse(path(semantic.JSONPointer), sentence(semantic.Err)).Because(err)
	}
	return refuse(path(semantic.JSONPointer), "This must be "+kindOf(semantic.GoType)+".").Because(err)
}

// Check looks at every token of body without building anything.
func Check(body []byte) error {
	d := jsontext.NewDecoder(bytes.NewReader(body))
	for whole := false; ; whole = d.StackDepth() == 0 {
		token, err := d.ReadToken()
		switch {
		case errors.Is(err, io.EOF) && whole:
			return nil
		case err != nil:
			return broken(err, len(bytes.TrimSpace(body)) == 0)
		case whole:
			return refuse("", "The request holds more than one JSON document.")
		}
		if d.StackDepth() > maxDepth {
			return refuse("", fmt.Sprintf("This is nested more than %d deep.", maxDepth))
		}
		if err := content(token, path(d.StackPointer())); err != nil {
			return err
		}
	}
}

// content checks one token that is there.
func content(t jsontext.Token, at string) error {
	switch t.Kind() {
	case '"':
		for _, r := range t.String() {
			if Unreadable(r) {
				return refuse(at, fmt.Sprintf("This holds an invisible character (U+%04X). Type it again on one line.", r))
			}
		}
	case '0':
		if x, err := strconv.ParseFloat(t.String(), 64); err != nil || math.IsInf(x, 0) {
			return refuse(at, "This number is too large.")
		}
	}
	return nil
}

// Unreadable reports whether r is a control, direction or line mark that can
// make a text read differently from what it is.
// Source: Unicode Technical Report 36, section 2.10 (from memory).
func Unreadable(r rune) bool {
	return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) ||
		r == '\u2028' || r == '\u2029' || r == '\u200b' || r == '\ufeff'
}

// broken says where the text stops being JSON.
func broken(err error, empty bool) error {
	var s *jsontext.SyntacticError
	switch {
	case empty:
		return refuse("", "The request is empty. Send one JSON document.")
	case errors.Is(err, jsontext.ErrDuplicateName) && errors.As(err, &s):
		return refuse(path(s.JSONPointer), "This name is given twice.").Because(err)
	case errors.As(err, &s):
		return refuse(path(s.JSONPointer), fmt.Sprintf("This is not JSON: it breaks off or goes wrong after byte %d.", s.ByteOffset)).Because(err)
	}
	return refuse("", "This is not JSON: it breaks off.").Because(err)
}

// refuse makes the fault. Field is a path such as values.readings.0.score, or
// "" for the whole document.
func refuse(field, message string) *fault.Error {
	if field == "" {
		return fault.New(fault.Invalid, message, next)
	}
	f := fault.New(fault.Invalid, field+": "+message, next)
	f.Fields = []fault.Field{{Field: field, Message: message}}
	return f
}

// longestPath bounds what is repeated of a name that somebody sent.
const longestPath = 120

// path writes a pointer with dots, without what nobody could read.
func path(p jsontext.Pointer) string {
	var parts []string
	for part := range p.Tokens() {
		parts = append(parts, part)
	}
	all := []rune(strings.ToValidUTF8(strings.Join(parts, "."), "?"))
	for i, r := range all {
		if Unreadable(r) {
			all[i] = '?'
		}
	}
	if len(all) > longestPath {
		all = append(all[:longestPath], '…')
	}
	return string(all)
}

// sentence makes a sentence of what a type says about its own value.
func sentence(err error) string {
	var f *fault.Error
	if errors.As(err, &f) {
		return f.Msg
	}
	return "This is not what the call takes: " + err.Error() + "."
}

// kindOf names what a field takes.
func kindOf(t reflect.Type) string {
	if t == nil {
		return "as the contract describes it"
	}
	switch t.Kind() {
	case reflect.Pointer:
		return kindOf(t.Elem())
	case reflect.Float64, reflect.Float32:
		return "a number"
	case reflect.Int, reflect.Int64, reflect.Uint64:
		return "a whole number"
	case reflect.String:
		return "a text"
	case reflect.Bool:
		return "true or false"
	case reflect.Slice:
		return "a list"
	case reflect.Map, reflect.Struct:
		return "an object as the contract describes it"
	}
	return "as the contract describes it"
}
