package memory

// #cgo CFLAGS: -O2 -Wall
// #include <stdlib.h>
// #include "step.h"
import "C"

import (
	"math/bits"
	"sync/atomic"
	"unsafe"
)

// Worker checks one part of the area. Its methods are for one thread; what
// Stats reads is safe from anywhere.
type Worker struct {
	check  *Check
	number int
	part   part
	lines  int64
	step   *C.belay_step // in C's memory
	width  int           // bits of the vectors
	at     int64         // position within the phase
	phase  int
	pass   int64

	moved   atomic.Int64 // lines read and written
	covered atomic.Int64 // lines that went through one whole march
	wrong   atomic.Int64 // wrong words
	flip    atomic.Uint64
}

// stepLines is how many positions a step goes through; chosen: a step takes
// about a millisecond or less, so that stopping is prompt, and the call costs
// nothing beside it.
const stepLines = 16 << 10

func newWorker(c *Check, number int, p part) *Worker {
	w := &Worker{check: c, number: number, part: p, lines: p.size / lineBytes, width: widest()}
	w.step = (*C.belay_step)(C.calloc(1, C.sizeof_belay_step)) // cgo's calloc never returns nil
	w.step.part = (*C.uint64_t)(unsafe.Pointer(&c.area.bytes[p.from]))
	w.step.lines = C.uint64_t(w.lines)
	w.begin()
	return w
}

// widest returns the bits of the widest vectors here, 0 for none.
func widest() int { return int(C.belay_widest()) }

func (w *Worker) free() {
	C.free(unsafe.Pointer(w.step))
	w.step = nil
}

// prepare touches and locks the part piece by piece.
func (w *Worker) prepare(progress func(bytes int64)) error {
	lock := true
	for from := int64(0); from < w.part.size; from += pieceBytes {
		if w.check.stop.Load() {
			return ErrStopped
		}
		piece := w.bytes()[from:min(from+pieceBytes, w.part.size)]
		touch(piece)
		if lock {
			if lock = w.check.lock(piece) == nil; lock {
				w.check.locked.Add(int64(len(piece)))
			}
		}
		progress(int64(len(piece)))
	}
	return nil
}

// bytes returns the part.
func (w *Worker) bytes() []byte {
	return w.check.area.bytes[w.part.from : w.part.from+w.part.size]
}

// positions returns how many positions the order of a phase has: the lines,
// or the next power of two when scattered.
func (w *Worker) positions(p phase) int64 {
	if p.order == scattered {
		return 1 << w.scatterBits()
	}
	return w.lines
}

func (w *Worker) scatterBits() int { return max(2, bits.Len64(uint64(w.lines-1))) }

// Step checks a stretch of some thousand lines, reports what is wrong, and
// returns the bytes that it read and wrote.
func (w *Worker) Step(report func(Error)) (moved int64) {
	p := w.check.phases[w.phase]
	end := min(w.at+stepLines, w.positions(p))
	s := w.step
	s.from, s.count = C.uint64_t(w.at), C.uint64_t(end-w.at)
	if p.read {
		w.spoil()
	}
	C.belay_do(s, C.int(w.width))
	lines := w.visited(p, end) - w.visited(p, w.at)
	w.moved.Add(lines * p.accesses())
	if s.wrong > 0 {
		w.wrong.Add(int64(s.wrong))
		w.describe(p, report)
	}
	if w.pass == 0 && w.phase == w.check.firstMarch() {
		w.covered.Add(lines)
	}
	if w.at = end; end == w.positions(p) {
		w.next()
	}
	return lines * p.accesses() * lineBytes
}

// visited returns the lines visited before a position: exact at both ends of
// a phase, and on average between them when scattered.
func (w *Worker) visited(p phase, at int64) int64 {
	high, low := bits.Mul64(uint64(at), uint64(w.lines))
	n, _ := bits.Div64(high, low, uint64(w.positions(p)))
	return int64(n)
}

// next goes on to the next phase.
func (w *Worker) next() {
	w.at = 0
	if w.phase++; w.phase == len(w.check.phases) {
		w.phase = 0
		w.pass++
	}
	w.begin()
}

// begin sets the step up for the present phase.
func (w *Worker) begin() {
	p, d, s := w.check.phases[w.phase], w.draw(w.check.phases[w.phase].background), w.step
	s.order, s.ops, s.hashed = C.int(p.order), C.int(p.ops()), 0
	if p.background.hashed {
		s.hashed = 1
	}
	s.read_mask, s.write_mask = C.uint64_t(mask(p.readOne)), C.uint64_t(mask(p.writeOne))
	for i, v := range d.words {
		s.word[i] = C.uint64_t(v)
	}
	for i, v := range d.multiply {
		s.multiply[i] = C.uint64_t(v)
	}
	s.salt, s.add, s.bits = C.uint64_t(d.salt), C.uint64_t(d.add), C.int(w.scatterBits())
}

// describe reports the wrong words of the last step.
func (w *Worker) describe(p phase, report func(Error)) {
	for _, e := range w.step.error[:w.step.kept] {
		report(Error{
			Worker: w.number, Offset: w.part.from + 8*int64(e.word),
			Expected: uint64(e.want), Got: uint64(e.got), Reread: uint64(e.reread),
			Pass: w.pass, Background: p.background.name, Element: p.element,
		})
	}
}
