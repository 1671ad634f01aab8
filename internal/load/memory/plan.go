package memory

import (
	"fmt"

	"belay/internal/load/march"
)

// order says how an element visits the lines of a part.
type order int

const (
	up order = iota
	down
	scattered
)

// background is what lines hold when a march says 0. A hashed one differs
// from line to line and is drawn anew for each pass unless it is fixed.
type background struct {
	name   string
	word   uint64 // of every word, unless hashed
	hashed bool
	fixed  bool
}

// phase is one sweep over a part.
type phase struct {
	background background
	element    int // its number in the march, from 0
	order      order
	read       bool
	readOne    bool
	write      bool
	writeOne   bool
}

// accesses returns the lines moved to or from memory per line of the part.
func (p phase) accesses() int64 {
	n := int64(0)
	if p.read {
		n++
	}
	if p.write {
		n++
	}
	return n
}

// ops returns the operations as the kernel counts them: 1 for a read, 2 for a
// write after it.
func (p phase) ops() int {
	n := 0
	if p.read {
		n |= 1
	}
	if p.write {
		n |= 2
	}
	return n
}

// mask returns what turns a background into the value of a march.
func mask(one bool) uint64 {
	if one {
		return ^uint64(0)
	}
	return 0
}

// scatteredMarch ends a pass. Its middle elements visit the lines in
// scattered order; both polarities are written there and verified.
const scatteredMarch = "U(w0) A(r0,w1) A(r1,w0) U(r0)"

// plan returns the phases of a pass.
func plan() []phase {
	var phases []phase
	for _, w := range march.Backgrounds() {
		b := background{name: fmt.Sprintf("%016x", w), word: w, fixed: true}
		phases = append(phases, sweeps(b, march.CMinus(), sameWay)...)
	}
	phases = append(phases, sweeps(background{name: "address", hashed: true, fixed: true}, march.CMinus(), sameWay)...)
	phases = append(phases, sweeps(background{name: "random", hashed: true}, march.CMinus(), sameWay)...)
	t, err := march.Parse(scatteredMarch)
	if err != nil {
		panic(err)
	}
	return append(phases, sweeps(background{name: "scattered", hashed: true}, t, scatter)...)
}

// sameWay resolves "any order" to the way of the element before: turning round
// would begin with lines that the caches still hold.
func sameWay(before order) order { return before }

func scatter(order) order { return scattered }

// sweeps turns the elements of a march into sweeps of the kernel, which does a
// read, a write, or a read and then a write.
func sweeps(b background, t march.Test, any func(before order) order) []phase {
	var phases []phase
	way := up
	for i, e := range t {
		switch e.Order {
		case march.Up:
			way = up
		case march.Down:
			way = down
		default:
			way = any(way)
		}
		p := phase{background: b, element: i, order: way}
		for _, op := range e.Ops {
			switch {
			case op.Read && !p.read && !p.write:
				p.read, p.readOne = true, op.One
			case !op.Read && !p.write:
				p.write, p.writeOne = true, op.One
			default:
				panic(fmt.Sprintf("memory: the kernel cannot do %v", e))
			}
		}
		phases = append(phases, p)
	}
	return phases
}
