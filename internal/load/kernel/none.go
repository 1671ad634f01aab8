//go:build !cgo || !(amd64 || arm64 || ppc64le || riscv64 || loong64)

package kernel

import (
	"sync/atomic"
	"time"

	"belay/internal/fault"
)

// Available tells whether this build has the kernels.
const Available = false

func missing() error {
	return fault.New(fault.Unavailable, "This build of Belay has no loads of its own.",
		"Build it with a C compiler, for a 64-bit processor, or run a load of your own and enter the results.")
}

// Sites of a Fault.
const (
	FlipSum, FlipUse, FlipLeft, FlipRight, FlipKnown                             = 1, 2, 3, 4, 5
	FlipTransform, FlipConvolution, FlipUnsorted, FlipSorted, FlipMachine uint32 = 1, 2, 3, 4, 5
	FlipLine, FlipLetter                                                         = 1, 2
)

// Stop ends the runs that were given it.
type Stop struct{ raised atomic.Bool }

// NewStop returns a stop that is not raised.
func NewStop() *Stop { return &Stop{} }

// Raise ends the runs.
func (s *Stop) Raise() { s.raised.Store(true) }

// Raised tells whether Raise was called.
func (s *Stop) Raised() bool { return s.raised.Load() }

// Free does nothing here.
func (s *Stop) Free() {}

type none struct{}

func (none) Run(int64, *Stop, uint64) (uint64, *Wrong) { return 0, nil }
func (none) Flip(Fault)                                {}
func (none) Close()                                    {}

// Product, Scalar and Cache cannot be made here.
type (
	Product struct{ none }
	Scalar  struct{ none }
	Cache   struct{ none }
)

// NewProduct returns an Unavailable fault.
func NewProduct(int, Shape, int) (*Product, error) { return nil, missing() }

// NewScalar is never reached: Widths is empty.
func NewScalar(uint64) *Scalar { return &Scalar{} }

// NewCaches is never reached either.
func NewCaches(int, int, uint64) []*Cache { return nil }

// Steps returns 0.
func (*Cache) Steps() int { return 0 }

// WorkingSet returns 0.
func WorkingSet(int64, int64, int) int { return 0 }

// Widths returns none.
func Widths() []int { return nil }

// Fused returns false.
func Fused(int) bool { return false }

var began = time.Now()

// Now returns nanoseconds since the start of the process.
func Now() int64 { return int64(time.Since(began)) }

// ThreadCPU returns 0.
func ThreadCPU() int64 { return 0 }

// Pin returns an Unavailable fault.
func Pin(int) error { return missing() }

// Nice returns an Unavailable fault.
func Nice(int) error { return missing() }

// Gate returns at once.
func Gate(int64, *Stop) int64 { return Now() }

// Caches knows none.
func Caches() (level1, level2, level3 int64) { return 0, 0, 0 }

// RoundingDefault returns true.
func RoundingDefault() bool { return true }

// WatchCrashes returns an Unavailable fault.
func WatchCrashes(int) error { return missing() }

// NameCore does nothing.
func NameCore(int) {}

// Die does nothing.
func Die(int) {}
