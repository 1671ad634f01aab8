package load

import (
	"runtime"
	"slices"
	"time"

	"belay/internal/fault"
	"belay/internal/trial"
)

// Kind is what a load does.
type Kind string

// The kinds: those of a trial, and idle spells by themselves.
const (
	Scalar     = Kind(trial.Scalar)
	WideVector = Kind(trial.WideVector)
	Cache      = Kind(trial.Cache)
	Memory     = Kind(trial.Memory)
	Mixed      = Kind(trial.Mixed)
	Bursty     = Kind(trial.Bursty)
	Idle       = Kind("idle")
)

// Kinds lists every kind.
var Kinds = []Kind{Scalar, WideVector, Cache, Memory, Mixed, Bursty, Idle}

// Spec says what to run.
type Spec struct {
	Kind     Kind          `json:"kind"`
	Duration time.Duration `json:"duration_ns,omitempty"` // 0: until stopped
	Cores    []int         `json:"cores,omitempty"`       // numbered as the system does; none: all that Belay may use
	Width    int           `json:"width,omitempty"`       // vector bits: 128, 256 or 512; 0: the widest
	Size     int64         `json:"size,omitempty"`        // bytes of a memory check; 0: what is free, less a reserve
	Seed     uint64        `json:"seed,omitempty"`        // draws the data; 0: from the clock
	// KeepGoing goes on after an error. Without it the first error ends the
	// load: the settings do not hold, and more heat tells no more.
	KeepGoing bool `json:"keep_going,omitempty"`
}

// most is how many cores a load takes. Chosen: more than any PC has.
const most = 1024

// mixedSize is the memory that a mixed load checks, per core, unless told
// otherwise. Chosen: more than a share of any third-level cache.
const mixedSize = 128 << 20

// complete checks the specification and fills in what it leaves open.
func (s Spec) complete() (Spec, error) {
	if !slices.Contains(Kinds, s.Kind) {
		return s, fault.Newf(fault.Invalid, "Use scalar, wide-vector, cache, memory, mixed, bursty or idle.", "There is no load %q.", s.Kind)
	}
	if s.Duration < 0 {
		return s, fault.New(fault.Invalid, "A load cannot run for less than no time.", "Give the minutes as a number above zero.")
	}
	if s.Size < 0 || s.Size > 0 && s.Kind != Memory && s.Kind != Mixed {
		return s, fault.New(fault.Invalid, "This load takes no size.", "Leave the size out, or run the memory load.")
	}
	if len(s.Cores) == 0 {
		s.Cores = allowedCores()
	}
	s.Cores = slices.Clone(s.Cores)
	slices.Sort(s.Cores)
	if len(slices.Compact(slices.Clone(s.Cores))) != len(s.Cores) || s.Cores[0] < 0 || len(s.Cores) > most {
		return s, fault.New(fault.Invalid, "The list of cores is not right.", "Name each core once, counted from 0, as in 0,2,3.")
	}
	if s.Seed == 0 {
		s.Seed = uint64(time.Now().UnixNano())
	}
	if s.Size == 0 && s.Kind == Mixed {
		s.Size = mixedSize * int64(len(s.Cores))
	}
	return s, nil
}

func firstCores() []int {
	cores := make([]int, runtime.NumCPU())
	for i := range cores {
		cores[i] = i
	}
	return cores
}
