package flow

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"belay/internal/fault"
)

// Problem is one fault of a flow file, at its place.
type Problem struct {
	File    string `json:"file"`
	Line    int    `json:"line"`   // from 1
	Column  int    `json:"column"` // in characters, from 1
	Source  string `json:"source"` // the offending line
	Message string `json:"message"`
	Next    string `json:"next"` // what to do
}

// Problems are all faults that were found in a flow, in the order of the
// files. A *Problems is an error; errors.As also finds an Invalid fault in it.
type Problems []Problem

// Error prints each problem as file:line:column: message, then the offending
// line with a mark, then what to do.
func (p Problems) Error() string {
	parts := make([]string, 0, len(p))
	for _, x := range p {
		parts = append(parts, x.String())
	}
	return strings.Join(parts, "\n")
}

// widest is how much of a line is printed. Chosen: fits a terminal.
const widest = 160

// String prints the problem with its line and a mark below the place.
func (x Problem) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s:%d:%d: %s\n", x.File, x.Line, x.Column, x.Message)
	if x.Source != "" {
		line, at := clip(x.Source, x.Column-1)
		gutter := fmt.Sprintf("%5d | ", x.Line)
		fmt.Fprintf(&b, "%s%s\n%s%s^\n", gutter, line, strings.Repeat(" ", len(gutter)-2)+"| ", strings.Repeat(" ", at))
	}
	if x.Next != "" {
		fmt.Fprintf(&b, "      %s\n", x.Next)
	}
	return b.String()
}

// clip cuts a long line to a window around the character at, and returns the
// place of that character in it. Control characters become blanks.
func clip(line string, at int) (string, int) {
	runes := []rune(strings.Map(visible, line))
	at = min(max(at, 0), len(runes))
	from := 0
	if at > widest-20 {
		from = at - (widest - 20)
	}
	to := min(len(runes), from+widest)
	return string(runes[from:to]), at - from
}

func visible(r rune) rune {
	if r == utf8.RuneError || unreadable(r) {
		return ' '
	}
	return r
}

// Unwrap returns the problems as one Invalid fault.
func (p Problems) Unwrap() error {
	if len(p) == 0 {
		return nil
	}
	first := p[0]
	return fault.Newf(fault.Invalid, first.Next, "%s, line %d: %s", first.File, first.Line, first.Message)
}

// sorted returns the problems by file and place, without repeats.
func (p Problems) sorted() Problems {
	slices.SortStableFunc(p, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column),
			cmp.Compare(a.Message, b.Message))
	})
	seen := make(map[Problem]bool, len(p))
	return slices.DeleteFunc(p, func(x Problem) bool {
		if seen[x] {
			return true
		}
		seen[x] = true
		return false
	})
}

// failed returns the problems as an error, or nil if there are none.
func (p Problems) failed() error {
	if len(p) == 0 {
		return nil
	}
	p = p.sorted()
	return &p
}
