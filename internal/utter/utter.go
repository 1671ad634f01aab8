// Package utter understands what a person types beside the buttons: values
// for the fields of the present step, a question, or a command.
//
// It proposes and never decides. A number that can be meant in two ways, two
// numbers for one field, a value outside its range, a change instead of a
// value and anything that is not a plain report are asked back. What is not
// understood yields nothing. docs/formats/utterances.md says what is measured.
package utter

import (
	"belay/internal/flow"
	"belay/internal/session"
	"belay/internal/trial"
)

// Scene is what a person is looking at while typing.
type Scene struct {
	Fields []session.Field // questions of the present prompt
	Trial  bool            // the prompt asks for the outcome of a trial
	Now    trial.Settings  // in force
	Next   trial.Settings  // proposed; the same as Now where nothing is
	Terms  []flow.Term     // glossary
}

// Kind says what a reading is.
type Kind string

// Draft has Values, Ask only Asks; the others have what they are named after.
const (
	Draft   Kind = "draft"
	Asked   Kind = "ask"
	Command Kind = "command"
	Topic   Kind = "topic"
	Term    Kind = "term"
	Unknown Kind = "unknown"
)

// Reading is what a text was understood as.
type Reading struct {
	Kind    Kind
	Values  trial.Values // by field name, each within its range
	Found   []Found      // where the values came from, in the order of the prompt
	Asks    []Ask        // what has to be asked back
	Aside   []string     // pieces that this step does not ask for
	Command string       // undo or stop
	Topic   string       // see Topics
	Term    *flow.Term
}

// Found is one understood value.
type Found struct {
	Field session.Field
	Value any    // float64, bool, string or []trial.Row
	From  string // the piece of the text
}

// Reason says why something is asked back.
type Reason string

// The reasons to ask back.
const (
	TwoWays   Reason = "two_ways"   // a number that people read in two ways: 1,250
	TwoFields Reason = "two_fields" // fits more than one field
	TwoValues Reason = "two_values" // more than one value for a field
	OutOf     Reason = "out_of"     // outside the range
	NotWhole  Reason = "not_whole"  // a fraction where whole numbers are counted
	Inexact   Reason = "inexact"    // a bound, a range or an estimate
	Relative  Reason = "relative"   // a change, not a value
	Unclear   Reason = "unclear"    // which field, or whether it is a report at all
	InForce   Reason = "in_force"   // a setting of this trial, not a reading
	ByTable   Reason = "by_table"   // readings that belong into the table
)

// Ask is one thing to ask back.
type Ask struct {
	Reason Reason
	From   string          // the piece of the text
	Fields []session.Field // that it may be meant for; may be empty
	Meant  *float64        // OutOf and TwoWays: a value that would be in the range of Fields[0]

	values map[string]float64 // the number as each of Fields would have it
}

// Topics are the questions that can be answered in every step.
var Topics = []string{"danger", "find", "long", "where", "why", "dunno", "safe", "trouble", "help", "next"}
