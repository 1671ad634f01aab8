package memory

import "belay/internal/fault"

// area is memory that Go does not manage. bytes is what the check uses, whole
// what was taken from the system.
type area struct {
	bytes []byte
	whole []byte
}

// touch makes the system put memory behind a piece, on the touching thread's
// side of a machine with several memory controllers.
func touch(piece []byte) {
	for i := 0; i < len(piece); i += pageBytes {
		piece[i] = 1
	}
}

func refused(size int64, err error) error {
	return fault.Newf(fault.Limit, "Close other programs, or ask for a smaller size.",
		"The system does not give %.2f GiB of memory.", float64(size)/gib).Because(err)
}
