// Package triad is the measure for the memory check's speed: the streaming
// triad a[i] = b[i] + s*c[i], with and without the caches, at each vector
// width. Only the benchmark of the memory check uses it.
// Source: McCalpin, "Memory bandwidth and machine balance in current high
// performance computers", IEEE TCCA Newsletter, December 1995.
package triad

// #cgo CFLAGS: -O2 -Wall
// #include "triad.h"
import "C"

import "unsafe"

// Bytes is what an element moves by the usual count: two reads and a write.
const Bytes = 24

// Variant is one way to compute the triad.
type Variant struct {
	Width  int  // bits of the vectors; 0 is what every processor of this kind has
	Stream bool // the stores pass the caches by
}

// Run computes one triad over three thirds of memory, which lies on a 64-byte
// border and is not Go's, and returns the number of elements.
func Run(v Variant, memory []byte) int64 {
	n := int64(len(memory)) / Bytes / 8 * 8
	stream := C.int(0)
	if v.Stream {
		stream = 1
	}
	C.belay_triad((*C.double)(unsafe.Pointer(&memory[0])), C.long(n), C.int(v.Width), stream)
	return n
}
