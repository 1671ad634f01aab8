package memory

import "encoding/binary"

// Spoil makes the next step that reads find one wrong bit: n chooses where.
// It is for tests that prove that errors are seen; nothing that a person can
// reach calls it. It may be called from anywhere.
func (w *Worker) Spoil(n uint64) { w.flip.Store(n | flipAsked) }

const flipAsked = 1 << 63

// spoil flips a bit of a line that the coming step will read, if asked to.
func (w *Worker) spoil() {
	n := w.flip.Swap(0)
	if n == 0 {
		return
	}
	offset, bit, ok := w.victim(n, uint64(w.step.from), uint64(w.step.count))
	if !ok { // no line is visited in this stretch of a scattered order
		w.flip.CompareAndSwap(0, n)
		return
	}
	word := w.bytes()[offset : offset+8]
	binary.NativeEndian.PutUint64(word, binary.NativeEndian.Uint64(word)^1<<bit)
}

// victim returns the word, in bytes from the start of the part, and the bit
// that n chooses among those that a stretch of the present phase visits.
func (w *Worker) victim(n, from, count uint64) (offset int64, bit int, ok bool) {
	n = mix(n)
	for i := range count {
		line := w.line(from + (n+i)%count)
		if line < uint64(w.lines) {
			return int64(line*lineBytes + n>>32%8*8), int(n >> 48 % 64), true
		}
	}
	return 0, 0, false
}

// line returns the line that a position of the present phase visits; one
// beyond the part is passed over. It is the kernel's rule once more.
func (w *Worker) line(k uint64) uint64 {
	switch p := w.check.phases[w.phase]; p.order {
	case up:
		return k
	case down:
		return uint64(w.lines) - 1 - k
	default:
		return w.draw(p.background).scatter(k, w.scatterBits())
	}
}

// scatter is a bijection on the numbers below 2^bits.
func (d drawn) scatter(k uint64, bits int) uint64 {
	mask, shift := uint64(1)<<bits-1, (bits+1)/2
	k = (k*d.multiply[0] + d.add) & mask
	k ^= k >> shift
	k = k * d.multiply[1] & mask
	k ^= k >> shift
	return k * d.multiply[2] & mask
}
