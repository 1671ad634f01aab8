// Package cause ranks what may have made a trial fail, and names the next
// trial that tells the likeliest causes apart for the least time.
//
// It is naive Bayes over a table that is data (flows/causes.yaml): each cause
// has a prior and, for each feature of a failure, the chance of each value.
// The chances are common practice, not measurements, so the ranking counts
// and the digits do not. See docs/models/cause.md.
package cause

import (
	"fmt"
	"math"
	"slices"

	"belay/internal/fault"
)

const (
	// rowTolerance is how far a row of chances may be from 1: typing in three
	// decimals.
	rowTolerance = 1e-6
	// leastChance keeps any single finding from ruling a cause out. Chosen:
	// one in two hundred.
	leastChance = 0.005
)

// Table is everything that the ranking knows. The zero value is not valid.
type Table struct {
	Version  int       `yaml:"version"`
	About    string    `yaml:"about"`
	Features []Feature `yaml:"features"`
	Causes   []Cause   `yaml:"causes"`
	Tests    []Test    `yaml:"tests"`
}

// Feature is something that can be known of a failure.
type Feature struct {
	ID       string  `yaml:"id"` // symptom, load, timing, change, bank or pattern
	Question string  `yaml:"question"`
	Values   []Value `yaml:"values"`
}

// Value is one answer to a feature's question.
type Value struct {
	ID    string `yaml:"id"`
	Label string `yaml:"label"`
}

// Cause is one reason for a failure.
type Cause struct {
	ID          string  `yaml:"id"`
	Title       string  `yaml:"title"`
	Explain     string  `yaml:"explain"` // plain sentences for a person
	Stage       string  `yaml:"stage"`   // the stage to go back to
	Prior       float64 `yaml:"prior"`   // before anything is known
	PriorSource string  `yaml:"prior_source"`
	Likelihoods []Row   `yaml:"likelihoods"` // one for each feature
}

// Row is how often a cause shows each value of a feature. Values sum to 1.
type Row struct {
	Feature string             `yaml:"feature"`
	Source  string             `yaml:"source"`
	Values  map[string]float64 `yaml:"values"`
}

// Test is a candidate for the next trial. Either it looks up the value of a
// feature (Observe), or it is run and fails again or holds (Fails).
type Test struct {
	ID              string             `yaml:"id"`
	Title           string             `yaml:"title"`
	How             string             `yaml:"how"`
	Minutes         float64            `yaml:"minutes"`          // to run it, above 0
	FirmwareChanges int                `yaml:"firmware_changes"` // visits to the setup screen
	CrashShare      float64            `yaml:"crash_share"`      // share of its failures that take the PC down, 0 to 1
	Observe         string             `yaml:"observe"`          // feature looked up, or empty
	Source          string             `yaml:"source"`
	Fails           map[string]float64 `yaml:"fails"` // chance that it fails again, for each cause
}

// Stages returns the stages that a cause may send a person back to.
func Stages() []string {
	return []string{"core", "wide-vector", "memory", "cache", "voltage-mode", "daily"}
}

// Validate reports everything that is wrong with the table as one Invalid
// fault with a field for each finding, nil for a sound table.
func (t Table) Validate() error {
	v := &findings{}
	if t.Version != 1 {
		v.add("version", "must be 1")
	}
	t.validateFeatures(v)
	t.validateCauses(v)
	t.validateTests(v)
	if len(v.fields) == 0 {
		return nil
	}
	f := fault.Newf(fault.Invalid, "Correct the lines named, then check the file again.",
		"The table of causes has %d mistakes.", len(v.fields))
	f.Fields = v.fields
	return f
}

type findings struct{ fields []fault.Field }

func (v *findings) add(where, format string, args ...any) {
	v.fields = append(v.fields, fault.Field{Field: where, Message: fmt.Sprintf(format, args...)})
}

// text reports an empty text.
func (v *findings) text(where, s string) {
	if s == "" {
		v.add(where, "is empty")
	}
}

// once reports an id that is empty or was seen before.
func (v *findings) once(where, id string, seen map[string]bool) {
	if id == "" {
		v.add(where, "has no id")
	} else if seen[id] {
		v.add(where+" "+id, "appears twice")
	}
	seen[id] = true
}

func (t Table) validateFeatures(v *findings) {
	seen := map[string]bool{}
	for _, f := range t.Features {
		v.once("features", f.ID, seen)
		where := "features " + f.ID
		if !slices.Contains(featureIDs(), f.ID) {
			v.add(where, "is not a feature that evidence has")
		}
		v.text(where+" question", f.Question)
		if len(f.Values) < 2 {
			v.add(where, "needs two values or more")
		}
		values := map[string]bool{}
		for _, val := range f.Values {
			v.once(where+" values", val.ID, values)
			v.text(where+" label of "+val.ID, val.Label)
		}
	}
	for _, id := range featureIDs() {
		if !seen[id] {
			v.add("features", "%s is missing", id)
		}
	}
}

func (t Table) validateCauses(v *findings) {
	if len(t.Causes) < 2 {
		v.add("causes", "there must be two or more")
	}
	seen := map[string]bool{}
	var total float64
	for _, c := range t.Causes {
		v.once("causes", c.ID, seen)
		where := "causes " + c.ID
		v.text(where+" title", c.Title)
		v.text(where+" explain", c.Explain)
		v.text(where+" prior_source", c.PriorSource)
		if !slices.Contains(Stages(), c.Stage) {
			v.add(where+" stage", "%q is not a stage to go back to", c.Stage)
		}
		if !(c.Prior >= leastChance && c.Prior <= 1) {
			v.add(where+" prior", "must lie from %v to 1", leastChance)
		}
		total += c.Prior
		t.validateRows(v, where, c)
	}
	if math.Abs(total-1) > rowTolerance {
		v.add("causes", "the priors sum to %.4f, not 1", total)
	}
}

func (t Table) validateRows(v *findings, where string, c Cause) {
	seen := map[string]bool{}
	for _, r := range c.Likelihoods {
		v.once(where+" likelihoods", r.Feature, seen)
		at := where + " likelihoods " + r.Feature
		v.text(at+" source", r.Source)
		f, ok := t.feature(r.Feature)
		if !ok {
			v.add(at, "is not a feature")
			continue
		}
		var total float64
		for _, val := range f.Values {
			p, ok := r.Values[val.ID]
			if !ok {
				v.add(at, "%s is missing", val.ID)
			} else if !(p >= leastChance && p <= 1) {
				v.add(at, "%s must lie from %v to 1", val.ID, leastChance)
			}
			total += p
		}
		if len(r.Values) > len(f.Values) {
			v.add(at, "names a value that the feature does not have")
		}
		if math.Abs(total-1) > rowTolerance {
			v.add(at, "sums to %.4f, not 1", total)
		}
	}
	for _, f := range t.Features {
		if !seen[f.ID] {
			v.add(where+" likelihoods", "%s is missing", f.ID)
		}
	}
}

func (t Table) validateTests(v *findings) {
	if len(t.Tests) == 0 {
		v.add("tests", "there must be one or more")
	}
	seen := map[string]bool{}
	for _, x := range t.Tests {
		v.once("tests", x.ID, seen)
		where := "tests " + x.ID
		v.text(where+" title", x.Title)
		v.text(where+" how", x.How)
		v.text(where+" source", x.Source)
		if !(x.Minutes > 0) || math.IsInf(x.Minutes, 0) {
			v.add(where+" minutes", "must be above 0")
		}
		if x.FirmwareChanges < 0 {
			v.add(where+" firmware_changes", "must not be negative")
		}
		if !(x.CrashShare >= 0 && x.CrashShare <= 1) {
			v.add(where+" crash_share", "must lie from 0 to 1")
		}
		t.validateOutcome(v, where, x)
	}
}

func (t Table) validateOutcome(v *findings, where string, x Test) {
	if x.Observe != "" {
		if _, ok := t.feature(x.Observe); !ok {
			v.add(where+" observe", "%s is not a feature", x.Observe)
		}
		if len(x.Fails) > 0 {
			v.add(where, "looks something up, so it cannot fail")
		}
		return
	}
	for _, c := range t.Causes {
		p, ok := x.Fails[c.ID]
		if !ok {
			v.add(where+" fails", "%s is missing", c.ID)
		} else if !(p >= leastChance && p <= 1-leastChance) {
			v.add(where+" fails", "%s must lie from %v to %v", c.ID, leastChance, 1-leastChance)
		}
	}
	if len(x.Fails) > len(t.Causes) {
		v.add(where+" fails", "names a cause that does not exist")
	}
}

func (t Table) feature(id string) (Feature, bool) {
	for _, f := range t.Features {
		if f.ID == id {
			return f, true
		}
	}
	return Feature{}, false
}

// chance returns how often the cause shows a value of a feature, 0 if the
// table does not say.
func (c Cause) chance(feature, value string) float64 {
	for _, r := range c.Likelihoods {
		if r.Feature == feature {
			return r.Values[value]
		}
	}
	return 0
}
