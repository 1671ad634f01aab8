//go:build cgo && (amd64 || arm64 || ppc64le || riscv64 || loong64)

package kernel

// #cgo CFLAGS: -O2 -Wall -Wextra
// #include <stdlib.h>
// #include "kernel.h"
import "C"

import (
	"sync/atomic"
	"unsafe"

	"belay/internal/fault"
)

// Available tells whether this build has the kernels.
const Available = true

// room is C memory that starts on the border of a cache line.
type room struct{ whole, start unsafe.Pointer }

func newRoom(bytes int) room {
	whole := C.calloc(1, C.size_t(bytes+C.BK_LINE)) // cgo's calloc never returns nil
	skip := -uintptr(whole) % C.BK_LINE
	return room{whole, unsafe.Add(whole, skip)}
}

func (r room) floats(at, n int) []float64 {
	return unsafe.Slice((*float64)(unsafe.Add(r.start, 8*at)), n)
}

func (r room) free() { C.free(r.whole) }

// Stop ends the runs that were given it. It is safe for use from anywhere.
type Stop struct{ flag *int32 }

// NewStop returns a stop that is not raised.
func NewStop() *Stop { return &Stop{(*int32)(C.calloc(1, C.BK_LINE))} }

// Raise ends the runs, each after its present unit.
func (s *Stop) Raise() { atomic.StoreInt32(s.flag, 1) }

// Raised tells whether Raise was called.
func (s *Stop) Raised() bool { return atomic.LoadInt32(s.flag) != 0 }

// Free gives the memory back. No run may use the stop afterwards.
func (s *Stop) Free() { C.free(unsafe.Pointer(s.flag)) }

func (s *Stop) c() *C.int32_t { return (*C.int32_t)(unsafe.Pointer(s.flag)) }

func (f Fault) c() C.bk_fault {
	return C.bk_fault{site: C.uint32_t(f.Site), bit: C.uint32_t(f.Bit), index: C.uint64_t(f.Index), step: C.uint64_t(f.Step)}
}

// Now returns the monotonic clock in nanoseconds. All processes of a system
// share it.
func Now() int64 { return int64(C.bk_now()) }

// ThreadCPU returns the processor time of this thread in nanoseconds.
func ThreadCPU() int64 { return int64(C.bk_thread_cpu()) }

// Pin binds this thread to a core. The caller has locked its goroutine to the
// thread, for good.
func Pin(core int) error {
	if code := C.bk_pin(C.int(core)); code != 0 {
		return fault.Newf(fault.Unavailable, "Choose cores that this PC has and that Belay may use.",
			"The load cannot be bound to core %d (system error %d).", core, int(code))
	}
	return nil
}

// Nice lets other programs go first: level 1 to 19, a higher one gives way
// more.
func Nice(level int) error {
	if code := C.bk_nice(C.int(level)); code != 0 {
		return fault.Newf(fault.Unavailable, "The load runs on as it is.", "The priority cannot be lowered (system error %d).", int(code))
	}
	return nil
}

// Gate waits until the time or the stop, and returns the time at which it
// opened. It sleeps, and spins for the last 1.5 ms.
func Gate(at int64, stop *Stop) int64 { return int64(C.bk_gate(C.int64_t(at), stop.c())) }

// Caches returns the sizes of the data caches in bytes; 0 is unknown.
func Caches() (level1, level2, level3 int64) {
	var l1, l2, l3 C.int64_t
	C.bk_cache_sizes(&l1, &l2, &l3)
	return int64(l1), int64(l2), int64(l3)
}

// RoundingDefault tells whether this thread rounds as IEEE 754 says by
// default: to nearest, with subnormal numbers.
func RoundingDefault() bool { return C.bk_rounding() == 0x1f80 }

// WatchCrashes makes a crash of a load's thread end the process with code 70
// and a line of JSON on the file descriptor. It comes after all other set-up.
func WatchCrashes(fd int) error {
	if C.bk_watch_crashes(C.int(fd)) != 0 {
		return fault.New(fault.Internal, "Crashes of the load cannot be watched.", "Start the load again.")
	}
	return nil
}

// NameCore tells WatchCrashes which core this thread loads.
func NameCore(core int) { C.bk_name_core(C.int(core)) }

// Die ends the process as a bad core would. For tests only.
func Die(how int) { C.bk_die(C.int(how)) }
