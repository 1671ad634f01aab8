package load

import (
	"fmt"
	"time"

	"belay/internal/load/kernel"
	"belay/internal/load/memory"
	"belay/internal/trial"
)

// Error is one wrong result, or the end of the load by itself.
type Error struct {
	Core     int     `json:"core"` // -1: not known
	AtS      float64 `json:"at_s"` // seconds since the start
	Expected string  `json:"expected"`
	Got      string  `json:"got"`
	Bits     []int   `json:"bits"` // numbers of the bits that differ
	Check    string  `json:"check"`
	Place    string  `json:"place,omitempty"`
	Cause    string  `json:"cause,omitempty"` // stored, transient or persistent, where a second look told
}

func wrongError(core int, at time.Duration, w kernel.Wrong) Error {
	return Error{Core: core, AtS: at.Seconds(), Expected: fmt.Sprintf("%016x", w.Expected), Got: fmt.Sprintf("%016x", w.Got),
		Bits: w.Bits(), Check: w.Check, Place: w.Place, Cause: string(w.Cause)}
}

func memoryError(core int, at time.Duration, e memory.Error) Error {
	w := kernel.Wrong{Check: "memory, background " + e.Background, Place: fmt.Sprintf("offset %#x", e.Offset), Expected: e.Expected, Got: e.Got, Cause: kernel.Transient}
	if e.Stored() {
		w.Cause = kernel.Stored
	}
	return wrongError(core, at, w)
}

func endError(core int, at time.Duration, check, got string) Error {
	return Error{Core: core, AtS: at.Seconds(), Expected: "a running load", Got: got, Bits: []int{}, Check: check}
}

// Ending says how a load ended.
type Ending string

// The endings.
const (
	Completed Ending = "completed" // ran its time
	Stopped   Ending = "stopped"   // stopped from outside
	Failed    Ending = "failed"    // ended at a wrong result
	Crashed   Ending = "crashed"   // died
	Hung      Ending = "hung"      // a core stood still, or the load fell silent
)

// Result is what a load found. Its JSON is that of "belay load --json".
type Result struct {
	Kind    Kind    `json:"kind"`
	Seconds float64 `json:"seconds"` // from the start of the work
	Cores   []int   `json:"cores"`
	Score   float64 `json:"score"` // units per second of processor time, summed over the cores
	Unit    string  `json:"unit"`  // of the score
	Errors  []Error `json:"errors"`
	Wrong   int     `json:"wrong_units"` // also those that Errors no longer describes
	GFLOPS  float64 `json:"gflops,omitempty"`
	GBs     float64 `json:"gb_s,omitempty"` // 1e9 bytes per second
	Checked uint64  `json:"checked"`        // units that were right
	Ended   Ending  `json:"ended"`
	Width   int     `json:"width,omitempty"` // bits of the vectors

	Memory   *Memories `json:"memory,omitempty"`
	Windows  uint64    `json:"windows,omitempty"`         // windows of bursts that were opened
	Punctual uint64    `json:"windows_on_time,omitempty"` // of these, at most 10 us late
}

// Held tells whether every result was right and the load neither died nor
// hung.
func (r Result) Held() bool { return len(r.Errors) == 0 && r.Wrong == 0 }

// Outcome is the result in the words of a trial.
func (r Result) Outcome() trial.Outcome {
	switch {
	case !r.Held():
		return trial.Error
	case r.Ended == Completed:
		return trial.Clean
	}
	return trial.Stopped
}

// Progress is how a load is getting on.
type Progress struct {
	Preparing   bool // memory is being taken; Done and Total are its bytes
	Done, Total int64
	Elapsed     time.Duration // since the start of the work
	Checked     uint64        // units that were right
	Score       float64       // so far; 0 during warm-up
	Wrong       int           // units that were wrong
	Errors      []Error       // those that came since the last call
	Memory      *Memories
}
