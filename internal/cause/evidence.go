package cause

import (
	"fmt"

	"belay/internal/fault"
	"belay/internal/trial"
	"belay/internal/units"
)

// Timing says when a failure came after the load started.
type Timing string

// Timings.
const (
	AtOnce Timing = "at-once"         // within ten seconds
	Minute Timing = "within-a-minute" // up to one minute
	Late   Timing = "late"            // after that
)

// atOnce is the end of "at once". Chosen: ten seconds, before heat has built up.
const atOnce units.Minutes = 1.0 / 6

// Change says what was changed last before the failure.
type Change string

// Changes.
const (
	Ratio         Change = "ratio"          // core ratio up
	Voltage       Change = "voltage"        // core voltage down
	CacheRatio    Change = "cache-ratio"    // cache ratio up
	MemoryRate    Change = "memory-rate"    // memory profile or data rate
	MemoryTiming  Change = "memory-timing"  // tighter timings
	MemoryVoltage Change = "memory-voltage" // memory voltage
	LoadLine      Change = "load-line"      // load-line level, adaptive or offset voltage
	PowerLimit    Change = "power-limit"    // power limit lifted
	Nothing       Change = "nothing"        // nothing since it last held
)

// Bank says which part of the processor logged a machine-check error.
type Bank string

// Banks. Empty means that nobody looked.
const (
	CoreBank   Bank = "core"
	CacheBank  Bank = "cache"
	MemoryBank Bank = "memory-controller"
	NoBank     Bank = "none" // looked, and nothing was logged
)

// Pattern says what the wrong bits of a memory check have in common.
type Pattern string

// Patterns. Empty means that it is not known.
const (
	OneBit     Pattern = "one-bit-line"
	OneModule  Pattern = "one-module"
	Everywhere Pattern = "everywhere"
	NoErrors   Pattern = "no-errors" // a memory check ran and found nothing
)

// Evidence is what is known of one failure. Empty fields are not known and
// count for nothing.
type Evidence struct {
	Symptom trial.Outcome // a failure or a hot trial
	Load    trial.Load
	Timing  Timing
	Change  Change
	Bank    Bank
	Pattern Pattern
	Tests   []Tested // tests of the table that were run since
}

// Tested is a test of the table with its result.
type Tested struct {
	Test   string // the test's id
	Failed bool   // it failed again
}

// FromTrial returns what a trial itself tells of its failure. A time that is
// not known stays open.
func FromTrial(t trial.Trial) Evidence {
	e := Evidence{Symptom: t.Outcome, Load: t.Load}
	switch {
	case t.TimeUnknown || t.Outcome == trial.NoBoot:
	case t.Minutes <= atOnce:
		e.Timing = AtOnce
	case t.Minutes <= 1:
		e.Timing = Minute
	default:
		e.Timing = Late
	}
	return e
}

// Check returns an Invalid fault for a value or a test that the table does not
// have. Rank and BestTest count such values for nothing.
func (e Evidence) Check(t Table) error {
	var fields []fault.Field
	for _, k := range e.known() {
		if !t.has(k.feature, k.value) {
			fields = append(fields, fault.Field{Field: k.feature, Message: fmt.Sprintf("%q is not one of its values", k.value)})
		}
	}
	for _, d := range e.Tests {
		if x, ok := t.test(d.Test); !ok || x.Observe != "" {
			fields = append(fields, fault.Field{Field: "tests", Message: fmt.Sprintf("%q is not a test that can fail", d.Test)})
		}
	}
	if len(fields) == 0 {
		return nil
	}
	f := fault.New(fault.Invalid, "Something in the report of the failure is not known here.", "Choose from the values offered.")
	f.Fields = fields
	return f
}

type finding struct{ feature, value string }

func featureIDs() []string { return []string{"symptom", "load", "timing", "change", "bank", "pattern"} }

// all returns every feature with its value in the order of featureIDs.
func (e Evidence) all() []finding {
	return []finding{
		{"symptom", string(e.Symptom)}, {"load", string(e.Load)}, {"timing", string(e.Timing)},
		{"change", string(e.Change)}, {"bank", string(e.Bank)}, {"pattern", string(e.Pattern)},
	}
}

// known returns the features that have a value.
func (e Evidence) known() []finding {
	var out []finding
	for _, f := range e.all() {
		if f.value != "" {
			out = append(out, f)
		}
	}
	return out
}

func (t Table) has(feature, value string) bool {
	f, _ := t.feature(feature)
	for _, v := range f.Values {
		if v.ID == value {
			return true
		}
	}
	return false
}

func (t Table) test(id string) (Test, bool) {
	for _, x := range t.Tests {
		if x.ID == id {
			return x, true
		}
	}
	return Test{}, false
}
