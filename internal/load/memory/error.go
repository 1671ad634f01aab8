package memory

import (
	"math/bits"

	"belay/internal/memtiming"
)

// Error is one 64-bit word that was not as it had been written.
type Error struct {
	Worker     int
	Offset     int64 // of the word, in bytes from the start of the area
	Expected   uint64
	Got        uint64
	Reread     uint64 // read once more, past the caches where the processor can
	Pass       int64  // from 0
	Background string // the value in hexadecimal digits, or "address", "random", "scattered"
	Element    int    // of the march, from 0
}

// Xor returns the wrong bits.
func (e Error) Xor() uint64 { return e.Expected ^ e.Got }

// Stored reports whether the second read was wrong too: then memory holds a
// wrong value. Otherwise the value went wrong on its way, this once.
func (e Error) Stored() bool { return e.Reread != e.Expected }

// keptErrors is how many errors Findings remembers for its suspicion; chosen:
// enough to see any pattern, and small beside the memory that is kept free.
const keptErrors = 10_000

// Findings gathers errors and tells what they have in common. It is for one
// goroutine at a time.
type Findings struct {
	Lanes  [64]int64 // how often each bit was wrong
	Stored int64     // errors that a second read confirmed
	kept   []memtiming.BitError
}

// Add counts an error.
func (f *Findings) Add(e Error) {
	for x := e.Xor(); x != 0; x &= x - 1 {
		f.Lanes[bits.TrailingZeros64(x)]++
	}
	if e.Stored() {
		f.Stored++
	}
	if len(f.kept) < keptErrors {
		f.kept = append(f.kept, memtiming.BitError{Address: uint64(e.Offset), Expected: e.Expected, Got: e.Got})
	}
}

// Suspicion tells what the errors suggest. Neighbours in the area need not be
// neighbours in a module, so no region is ever suspected.
func (f *Findings) Suspicion() memtiming.Suspicion { return memtiming.Interpret(f.kept, 0) }
