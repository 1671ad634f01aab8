package memory

// drawn are the numbers that make a background and an order.
type drawn struct {
	words    [8]uint64
	salt     uint64
	multiply [3]uint64 // odd
	add      uint64
}

// draw returns the numbers of a background for the worker's present pass.
// All elements of a march get the same ones. No two lines of the area hold the
// same under a hashed background: the line's number in the area is hashed.
func (w *Worker) draw(b background) drawn {
	var d drawn
	seed := uint64(0)
	if !b.fixed {
		seed = mix(w.check.options.Seed ^ mix(uint64(w.pass)+1) ^ uint64(len(b.name)))
	}
	for i := range d.words {
		d.words[i] = b.word
		if b.hashed {
			d.words[i] = mix(seed + uint64(i) + 1)
		}
	}
	d.salt = mix(seed) + uint64(w.part.from/lineBytes)
	for i := range d.multiply {
		d.multiply[i] = mix(seed+100+uint64(i)) | 1
	}
	d.add = mix(seed + 200)
	return d
}

// mix spreads a number over 64 bits; distinct numbers stay distinct.
// Source: the finalizer of SplitMix64, Steele, Lea and Flood, OOPSLA 2014.
func mix(z uint64) uint64 {
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}
