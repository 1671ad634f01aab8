// Package kernel holds the arithmetic of the loads: small pieces of C that
// keep a core busy and check every result, and what they need of a thread.
//
// A kernel works in units (a product, a round, a lap), all of which it
// verifies. It runs until a time, or until its Stop is raised, and ends early
// at a unit that came out wrong. Kernels hold C memory and are for one thread;
// only a Stop may be used from anywhere.
//
// The C code is built for 64-bit processors with a C compiler at hand. Without
// one the package builds, and its constructors return an Unavailable fault.
package kernel

import "fmt"

// Wrong is one unit that came out wrong.
type Wrong struct {
	Check    string // what was compared
	Place    string // where in the data
	Cause    Cause
	Expected uint64 // bits as they should be
	Got      uint64 // bits as they were
	Count    int    // wrong values in this unit
}

// Cause tells what a second look at the same data found.
type Cause string

const (
	Unknown    Cause = ""
	Stored     Cause = "stored"     // the stored operands or the stored result had changed
	Transient  Cause = "transient"  // the same work was right the second time
	Persistent Cause = "persistent" // the same work was wrong again
)

// Bits lists the bit numbers in which the results differ, lowest first.
func (w Wrong) Bits() []int {
	bits := []int{}
	for i := range 64 {
		if (w.Expected^w.Got)>>i&1 == 1 {
			bits = append(bits, i)
		}
	}
	return bits
}

func (w Wrong) String() string {
	return fmt.Sprintf("%s, %s: expected %016x, got %016x", w.Check, w.Place, w.Expected, w.Got)
}

// Kernel is one load on one core.
type Kernel interface {
	// Run works until the time (nanoseconds, see Now), the stop or most units,
	// at least one unit. It returns the units that were right, and the one that
	// was wrong, which ended the run.
	Run(until int64, stop *Stop, most uint64) (units uint64, wrong *Wrong)
	// Flip disturbs the next unit. For tests only.
	Flip(Fault)
	// Close frees the memory. The kernel must not be running.
	Close()
}

// Fault is one flip of a bit that a test asks for. What Site, Index and Step
// mean is the kernel's.
type Fault struct {
	Site  uint32
	Bit   uint32
	Index uint64
	Step  uint64
}
