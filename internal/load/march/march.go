// Package march holds march tests of memory as data, faults of memory as
// small machines, and a simulator that tells which test finds which fault.
//
// A march test goes over all cells once per element, upwards or downwards,
// and does the same few reads and writes at each cell.
// Source: van de Goor, "Using march tests to test SRAMs", IEEE Design & Test
// of Computers 10 (1993) 8.
package march

import (
	"fmt"
	"strings"

	"belay/internal/fault"
)

// Order says in which order an element visits the cells.
type Order byte

// The orders. Any promises that the element works either way.
const (
	Any  Order = 'A'
	Up   Order = 'U'
	Down Order = 'D'
)

// Op is one operation on a cell: r0, r1, w0 or w1. A read expects its value.
// On words, 0 is a background and 1 its complement.
type Op struct {
	Read bool
	One  bool
}

// String returns the operation as it is published, like "r0".
func (o Op) String() string {
	kind, value := "w", "0"
	if o.Read {
		kind = "r"
	}
	if o.One {
		value = "1"
	}
	return kind + value
}

// Element is one sweep over the cells.
type Element struct {
	Order Order
	Ops   []Op
}

// Test is a march test.
type Test []Element

// String returns the test in the notation that Parse reads.
func (t Test) String() string {
	elements := make([]string, len(t))
	for i, e := range t {
		ops := make([]string, len(e.Ops))
		for j, o := range e.Ops {
			ops[j] = o.String()
		}
		elements[i] = string(e.Order) + "(" + strings.Join(ops, ",") + ")"
	}
	return strings.Join(elements, " ")
}

// Length returns the operations on each cell.
func (t Test) Length() int {
	n := 0
	for _, e := range t {
		n += len(e.Ops)
	}
	return n
}

// Parse reads a test in the usual notation with A for any order, U for up and
// D for down: "A(w0) U(r0,w1) D(r1,w0)". It returns an Invalid fault that
// names the element that it cannot read.
func Parse(text string) (Test, error) {
	var t Test
	for _, part := range strings.Fields(text) {
		e, ok := element(part)
		if !ok {
			return nil, fault.New(fault.Invalid, fmt.Sprintf("%q is no march element.", part),
				"Write elements like U(r0,w1): U, D or A, then reads and writes of 0 or 1.")
		}
		t = append(t, e)
	}
	if len(t) == 0 {
		return nil, fault.New(fault.Invalid, "The march test has no element.", "Write elements like U(r0,w1).")
	}
	return t, nil
}

func element(text string) (Element, bool) {
	inner, closed := strings.CutSuffix(text, ")")
	order, inner, opened := strings.Cut(inner, "(")
	if !closed || !opened || len(order) != 1 || !strings.Contains("AUD", order) {
		return Element{}, false
	}
	e := Element{Order: Order(order[0])}
	for op := range strings.SplitSeq(inner, ",") {
		switch op {
		case "r0", "r1", "w0", "w1":
			e.Ops = append(e.Ops, Op{Read: op[0] == 'r', One: op[1] == '1'})
		default:
			return Element{}, false
		}
	}
	return e, true
}

// must is Parse for the tests below.
func must(text string) Test {
	t, err := Parse(text)
	if err != nil {
		panic(err)
	}
	return t
}

// MATSPlus returns MATS+, with 5 operations per cell.
// Source: van de Goor 1993.
func MATSPlus() Test { return must("A(w0) U(r0,w1) D(r1,w0)") }

// CMinus returns March C-, with 10 operations per cell.
// Source: van de Goor 1993.
func CMinus() Test { return must("A(w0) U(r0,w1) U(r1,w0) D(r0,w1) D(r1,w0) A(r0)") }

// SS returns March SS, with 22 operations per cell.
// Source: Hamdioui, van de Goor and Rodgers, MTDT 2002.
func SS() Test {
	return must("A(w0) U(r0,r0,w0,r0,w1) U(r1,r1,w1,r1,w0) D(r0,r0,w0,r0,w1) D(r1,r1,w1,r1,w0) A(r0)")
}
