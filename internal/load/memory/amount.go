package memory

import (
	"belay/internal/fault"
)

const (
	lineBytes = 64
	pageBytes = 4096
	hugeBytes = 2 << 20 // a huge page of x86-64
	gib       = 1 << 30

	// keepBytes and keepShare is what stays free for the system, the page and
	// the programs that are open. Chosen: the larger of the two.
	keepBytes = 2 * gib
	keepShare = 0.10

	// leastBytes is the least memory that is worth a check by itself, and what
	// stays free when a person asks for an exact size. Chosen: some times the
	// largest caches, so that reads come from memory.
	leastBytes = 256 << 20
)

// Room is how much memory the machine has, in bytes.
type Room struct {
	Total     int64 // that the system knows of
	Available int64 // that programs can have without anything being swapped out
}

// Amount returns the bytes to check by default: what is available less the
// larger of 2 GiB and a tenth. It returns a Limit fault when less than 256 MiB
// would be left.
func (r Room) Amount() (int64, error) {
	keep := max(int64(keepBytes), int64(keepShare*float64(r.Available)))
	amount := (r.Available - keep) / hugeBytes * hugeBytes
	if amount < leastBytes {
		return 0, fault.New(fault.Limit, "Too little memory is free for a memory check.",
			"Close other programs, or ask for a size.")
	}
	return amount, nil
}

// allow refuses a size that would leave too little for the system.
func (r Room) allow(size int64) error {
	if size <= r.Available-leastBytes {
		return nil
	}
	return fault.Newf(fault.Limit, "Close other programs, or ask for a smaller size.",
		"The check asks for %.2f GiB, but only %.2f GiB are free.", float64(size)/gib, float64(r.Available)/gib)
}
