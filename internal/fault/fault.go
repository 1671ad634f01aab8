// Package fault holds the one error type of Belay.
//
// A fault tells a person what is wrong and what to do next, tells a program
// a stable code, and tells the log the chain of causes. Faults are compared
// by code, never by text, and never changed once made.
package fault

import (
	"errors"
	"fmt"
	"strings"
)

// Code names a kind of fault. Codes cross the wire: they are append-only.
type Code string

const (
	Invalid     Code = "invalid"     // the input breaks a stated rule
	Conflict    Code = "conflict"    // the input was made for a state that has passed
	NotFound    Code = "not_found"   // nothing has this name
	Unsafe      Code = "unsafe"      // a limit that Belay never passes
	Limit       Code = "limit"       // too large or too many
	Denied      Code = "denied"      // the caller may not do this
	Unavailable Code = "unavailable" // try again later
	Corrupt     Code = "corrupt"     // stored data fails its own check
	Internal    Code = "internal"    // a broken rule of Belay's own
)

// Field is one wrong field of an input, named as the caller named it.
type Field struct {
	Field   string `json:"field"`
	Message string `json:"message"`
	// Suggest is the value that was probably meant: a float64 in the unit of
	// the field, or the string of a choice. Nil where nothing is likely enough.
	Suggest any `json:"suggest,omitempty"`
	// Confirm says that the value is odd but possible: the caller may insist.
	Confirm bool `json:"confirm,omitempty"`
}

// Error is a fault. Msg and Next are sentences for a person; Op and Err are
// for the log and never reach a browser.
type Error struct {
	Code   Code
	Op     string
	Msg    string
	Next   string
	Fields []Field
	Err    error
}

// New makes a fault with the sentence that a person reads and the next step.
func New(code Code, msg, next string) *Error {
	return &Error{Code: code, Msg: msg, Next: next}
}

// Newf is New with a formatted sentence.
func Newf(code Code, next, format string, args ...any) *Error {
	return &Error{Code: code, Msg: fmt.Sprintf(format, args...), Next: next}
}

// Wrap returns a copy of the fault in err, or an internal fault around err,
// with op put before what it already names. Wrap(op, nil) is nil.
func Wrap(op string, err error) error {
	if err == nil {
		return nil
	}
	var f *Error
	if errors.As(err, &f) {
		c := *f
		if c.Op == "" {
			c.Op = op
		} else {
			c.Op = op + ": " + c.Op
		}
		return &c
	}
	return &Error{
		Code: Internal, Op: op, Err: err,
		Msg:  "Something went wrong inside Belay.",
		Next: "Nothing that you saved is lost. Try again; if it happens again, restart Belay.",
	}
}

// Because returns a copy of f with err as its cause.
func (f *Error) Because(err error) *Error {
	c := *f
	c.Err = err
	return &c
}

// Error returns the whole chain, for logs.
func (f *Error) Error() string {
	var b strings.Builder
	if f.Op != "" {
		b.WriteString(f.Op + ": ")
	}
	b.WriteString(string(f.Code) + ": " + f.Msg)
	for _, x := range f.Fields {
		b.WriteString(" [" + x.Field + ": " + x.Message + "]")
	}
	if f.Err != nil {
		b.WriteString(": " + f.Err.Error())
	}
	return b.String()
}

// Unwrap returns the cause.
func (f *Error) Unwrap() error { return f.Err }

// CodeOf returns the code of the outermost fault in err, Internal for an
// error that is not a fault, and "" for nil.
func CodeOf(err error) Code {
	if err == nil {
		return ""
	}
	var f *Error
	if errors.As(err, &f) {
		return f.Code
	}
	return Internal
}

// Is reports whether err is a fault with this code.
func Is(err error, code Code) bool { return err != nil && CodeOf(err) == code }
