// Package sensorlog reads a table of readings that any program logged as text
// (CSV), and hands it to the same reduction that live sensors go through.
//
// Nothing is assumed about the program. The file is looked at: its encoding,
// the mark between its columns, its decimal mark, its header, its times. The
// columns are guessed from their words and units; a person confirms them
// once, and the header remembers it. docs/formats/log.md describes what is
// understood.
package sensorlog

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"

	"belay/internal/fault"
	"belay/internal/sample"
)

// MaxBytes is the largest log that is read. Chosen: two days of a sample a
// second in some 60 columns, or a long trial in 200.
const MaxBytes = 128 << 20

// Column is one column of a log.
type Column struct {
	Name    string `json:"name"` // as in the header; a second one of the same name gets a number
	Unit    string `json:"unit,omitempty"`
	Example string `json:"example,omitempty"` // a cell from the middle of what was looked at
	Guess   string `json:"guess,omitempty"`   // the quantity that it most likely holds
}

// Mapping says which columns hold what, by name.
type Mapping struct {
	Time    string              `json:"time,omitempty"` // "": one row is one second
	Columns map[string][]string `json:"columns"`        // quantity: its columns
}

// Layout is what was found out about a log by looking at its beginning.
type Layout struct {
	Encoding     string   `json:"encoding"`  // utf-8, utf-16le, utf-16be or windows-1252
	Delimiter    string   `json:"delimiter"` // comma, semicolon, tab or bar
	DecimalComma bool     `json:"decimal_comma"`
	Key          string   `json:"key"` // names the header, whatever the case and blanks in it
	Columns      []Column `json:"columns"`
	Guess        Mapping  `json:"guess"`

	comma  byte
	header int // line at which the data begin, counted from 0
	units  []string
	clock  clockKind
}

// keyOf names a header.
func keyOf(columns []Column) string {
	var all strings.Builder
	for _, c := range columns {
		all.WriteString(strings.ToLower(strings.Join(strings.Fields(c.Name), " ")) + "\n")
	}
	sum := sha256.Sum256([]byte(all.String()))
	return hex.EncodeToString(sum[:12])
}

// Fit returns m with its names spelled as in this heading, where only case and
// blanks differ.
func (l Layout) Fit(m Mapping) Mapping {
	plain := func(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }
	spell := func(name string) string {
		for _, c := range l.Columns {
			if plain(c.Name) == plain(name) {
				return c.Name
			}
		}
		return name
	}
	out := Mapping{Columns: map[string][]string{}}
	if m.Time != "" {
		out.Time = spell(m.Time)
	}
	for q, names := range m.Columns {
		for _, n := range names {
			out.Columns[q] = append(out.Columns[q], spell(n))
		}
	}
	return out
}

// Check refuses a mapping that names a quantity or a column that is not
// there, or none at all.
func (l Layout) Check(m Mapping) error {
	f := fault.New(fault.Invalid, "The columns do not fit this log.", "Choose among the columns that the log has.")
	if m.Time != "" && l.index(m.Time) < 0 {
		f.Fields = append(f.Fields, fault.Field{Field: "time", Message: "The log has no column " + quote(m.Time) + "."})
	}
	used := 0
	for _, name := range sortedKeys(m.Columns) {
		if _, ok := sample.Named(name); !ok {
			f.Fields = append(f.Fields, fault.Field{Field: name, Message: "There is no reading of this name."})
			continue
		}
		for _, c := range m.Columns[name] {
			if l.index(c) < 0 {
				f.Fields = append(f.Fields, fault.Field{Field: name, Message: "The log has no column " + quote(c) + "."})
			}
			used++
		}
	}
	if used == 0 && len(f.Fields) == 0 {
		f.Fields = append(f.Fields, fault.Field{Field: "columns", Message: "Choose at least one column."})
	}
	if len(f.Fields) > 0 {
		return f
	}
	return nil
}

func (l Layout) index(name string) int {
	return slices.IndexFunc(l.Columns, func(c Column) bool { return c.Name == name })
}

func sortedKeys(m map[string][]string) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// quote shows a name from a file, cut to what a message can hold.
func quote(s string) string {
	if r := []rune(s); len(r) > 60 {
		s = string(r[:60]) + "…"
	}
	return "“" + s + "”"
}
