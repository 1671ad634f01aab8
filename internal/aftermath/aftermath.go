// Package aftermath says what ended a trial that has no end on record: what
// happened, how certain that is, and when.
//
// It is a pure function of what was found after the start. The person is the
// last judge: their answer is kept beside this verdict, never over it.
// docs/aftermath.md describes the rules and where they come from.
package aftermath

import (
	"time"

	"belay/internal/trial"
	"belay/internal/units"
)

// Mark is what the newest sign of life says.
type Mark string

const (
	NoMark Mark = ""       // no sign of life is left
	Alive  Mark = "alive"  // the trial was running
	Ended  Mark = "ended"  // the trial had ended
	Closed Mark = "closed" // Belay had closed in an orderly way
)

// Kind is a class of traces that the operating system keeps.
type Kind string

const (
	StopError      Kind = "stop-error"      // the system stopped itself with an error
	HardwareError  Kind = "hardware-error"  // the processor or memory reported an error that was not corrected
	CorrectedError Kind = "corrected-error" // one that was corrected
	PowerButton    Kind = "power-button"    // the power button was held down
	Watchdog       Kind = "watchdog"        // a watchdog ended a hang
	CleanStop      Kind = "clean-stop"      // the system was shut down or restarted in an orderly way
	Unexpected     Kind = "unexpected"      // the system noticed that the last stop was not orderly
)

// Sign is one trace, in the words to show.
type Sign struct {
	Kind   Kind
	Detail string
}

// Facts is what was found at the start. Durations are 0 when not known.
type Facts struct {
	Mark          Mark
	BootKnown     bool          // both boot ids are known
	SameBoot      bool          // the operating system has not restarted since the trial began
	Ran           time.Duration // from the start of the trial to its newest sign of life
	Late          time.Duration // how late that came
	OffKnown      bool          // Off can be told
	Off           time.Duration // from the newest sign of life to the start of this boot
	Usual         time.Duration // what a planned restart of this PC takes
	MemoryChanged bool          // memory settings changed since Usual was learnt: its training takes longer
	Temp          units.Celsius // newest reading, 0 for none
	Limit         units.Celsius // temperature limit of the processor, 0 for not known
	Signs         []Sign
}

// Cause is what ended the trial.
type Cause string

const (
	BelayClosed   Cause = "belay-closed"
	BelayDied     Cause = "belay-died"
	Restarted     Cause = "restarted"
	StoppedItself Cause = "stop-error"
	Hardware      Cause = "hardware-error"
	Froze         Cause = "froze"
	TooHot        Cause = "too-hot"
	Reset         Cause = "reset"
	FrozeOrPower  Cause = "froze-or-power"
	Unknown       Cause = "unknown"
)

// Certainty of a cause.
type Certainty string

const (
	Certain  Certainty = "certain"
	Likely   Certainty = "likely"
	NotKnown Certainty = "unknown"
)

// Verdict is what the facts say.
type Verdict struct {
	Cause     Cause         `json:"cause"`
	Certainty Certainty     `json:"certainty"`
	Outcome   trial.Outcome `json:"outcome,omitempty"` // to offer; "" when the person has to say
	Minutes   units.Minutes `json:"minutes"`           // from the start of the trial to its end, at least
	Bound     units.Minutes `json:"bound"`             // and at most this much later; 0 when it cannot be told
	Says      string        `json:"says"`              // one or two sentences for the person
	Evidence  []string      `json:"evidence"`
}

// selfRestart is how much longer than a planned restart one by itself may
// take. Chosen: the firmware's start differs by a few seconds from time to time.
const selfRestart = 10 * time.Second

// nearLimit is how close to its limit a processor counts as hot, in °C.
// Chosen: sensors and the last second before a stop differ by about as much.
const nearLimit = 5

// beat is the time between signs of life.
const beat = time.Second

// Classify weighs the facts: first whether the PC went down at all, then what
// the system recorded, then heat, then how long the PC was off.
func Classify(f Facts) Verdict {
	v := f.judge()
	if f.Mark != NoMark {
		v.Minutes = units.Minutes(f.Ran.Minutes())
		v.Bound = units.Minutes((beat + f.Late).Minutes())
	}
	v.Evidence = f.evidence()
	v.Says = says(v, f)
	return v
}

func (f Facts) judge() Verdict {
	if f.BootKnown && f.SameBoot {
		if f.Mark == Ended || f.Mark == Closed {
			return Verdict{Cause: BelayClosed, Certainty: Certain, Outcome: trial.Stopped}
		}
		return Verdict{Cause: BelayDied, Certainty: Likely}
	}
	switch {
	case f.has(StopError):
		return Verdict{Cause: StoppedItself, Certainty: Certain, Outcome: trial.Reset}
	case f.has(HardwareError):
		return Verdict{Cause: Hardware, Certainty: Certain, Outcome: trial.Reset}
	case f.has(PowerButton):
		return Verdict{Cause: Froze, Certainty: Likely, Outcome: trial.Froze}
	case f.has(Watchdog):
		return Verdict{Cause: Froze, Certainty: Certain, Outcome: trial.Froze}
	case f.Mark == Ended || f.Mark == Closed:
		return Verdict{Cause: Restarted, Certainty: Certain, Outcome: trial.Stopped}
	case f.has(CleanStop):
		return Verdict{Cause: Restarted, Certainty: Likely, Outcome: trial.Stopped}
	case !f.BootKnown:
		return Verdict{Cause: Unknown, Certainty: NotKnown}
	}
	restart, known := f.restartedItself()
	switch {
	case f.hot() && known && !restart:
		return Verdict{Cause: TooHot, Certainty: Likely, Outcome: trial.TooHot}
	case known && restart:
		return Verdict{Cause: Reset, Certainty: Likely, Outcome: trial.Reset}
	case known:
		return Verdict{Cause: FrozeOrPower, Certainty: Likely, Outcome: trial.Froze}
	}
	return Verdict{Cause: Unknown, Certainty: NotKnown}
}

func (f Facts) has(k Kind) bool {
	for _, s := range f.Signs {
		if s.Kind == k {
			return true
		}
	}
	return false
}

func (f Facts) hot() bool { return f.Limit > 0 && f.Temp >= f.Limit-nearLimit }

// restartedItself compares the time off with a planned restart. A negative
// time off means that the wall clock was set, so nothing can be told.
func (f Facts) restartedItself() (yes, known bool) {
	if !f.OffKnown || f.Off < 0 || f.Usual <= 0 || f.MemoryChanged || f.Mark == NoMark {
		return false, false
	}
	return f.Off <= f.Usual+selfRestart, true
}
