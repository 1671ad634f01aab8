//go:build cgo && (amd64 || arm64 || ppc64le || riscv64 || loong64)

package kernel

// #include "kernel.h"
import "C"

import (
	"fmt"
	"unsafe"
)

// Sites of a Fault of the scalar load.
const (
	FlipTransform   = C.BK_FLIP_TRANSFORM   // a word halfway through a convolution
	FlipConvolution = C.BK_FLIP_CONVOLUTION // a word of its result
	FlipUnsorted    = C.BK_FLIP_UNSORTED    // a number before it is sorted
	FlipSorted      = C.BK_FLIP_SORTED      // a number after
	FlipMachine     = C.BK_FLIP_MACHINE     // a register of the machine after Step instructions
)

// Scalar is the scalar load: convolutions of whole numbers, sorting, and a
// little machine that runs forth and back.
type Scalar struct {
	c    *C.bk_scalar
	room room
}

// NewScalar makes the load. Every round draws fresh numbers from the seed.
func NewScalar(seed uint64) *Scalar {
	head := (int(unsafe.Sizeof(C.bk_scalar{}))/C.BK_LINE + 1) * C.BK_LINE
	s := &Scalar{room: newRoom(head + 8*C.BK_SCALAR_WORDS)}
	s.c = (*C.bk_scalar)(s.room.start)
	*s.c = C.bk_scalar{seed: C.uint64_t(mix(seed)), room: (*C.uint64_t)(unsafe.Add(s.room.start, head))}
	C.bk_scalar_init(s.c)
	return s
}

// Run does rounds, see Kernel. The unit is a round.
func (s *Scalar) Run(until int64, stop *Stop, most uint64) (uint64, *Wrong) {
	s.c.wrong = C.bk_wrong{}
	done := uint64(C.bk_scalar_run(s.c, C.int64_t(until), stop.c(), C.uint64_t(most)))
	if s.c.wrong.count == 0 {
		return done, nil
	}
	w := &Wrong{Expected: uint64(s.c.wrong.expected), Got: uint64(s.c.wrong.got), Count: int(s.c.wrong.count)}
	switch at := uint64(s.c.wrong.place); s.c.wrong.stage {
	case C.BK_CONVOLUTION:
		w.Check, w.Place = "convolution", fmt.Sprintf("at %016x", at)
	case C.BK_ORDER:
		w.Check, w.Place = "order of sorted numbers", fmt.Sprintf("place %d", at)
	case C.BK_CONTENT:
		w.Check, w.Place = "sum over sorted numbers", "all"
	default:
		w.Check, w.Place = "reversal", fmt.Sprintf("register %d", at)
	}
	return done, w
}

// Flip disturbs the next round. For tests only.
func (s *Scalar) Flip(f Fault) { s.c.fault = f.c() }

// Close frees the memory.
func (s *Scalar) Close() { s.room.free() }

// mulmod multiplies modulo the prime of the convolution.
func mulmod(a, b uint64) uint64 { return uint64(C.bk_mulmod(C.uint64_t(a), C.uint64_t(b))) }

// convolve multiplies two polynomials of half the transform's length.
func (s *Scalar) convolve(a, b []uint64) []uint64 {
	out := make([]uint64, C.BK_POINTS)
	C.bk_convolve(s.c, (*C.uint64_t)(&a[0]), (*C.uint64_t)(&b[0]), (*C.uint64_t)(&out[0]))
	return out
}
