package assist

import (
	"time"

	"belay/internal/trial"
	"belay/internal/units"
)

// Bench is what Belay can do on the PC that it runs on. A nil function means
// that this cannot be had here.
type Bench struct {
	// StartLoad starts a built-in load in a process of its own.
	StartLoad func(LoadSpec) (LoadRun, error)
	// Pulse starts the signs of life that date a crash. Each asks newest for
	// the newest readings. The function it returns ends them.
	Pulse func(session string, trial int, newest func() trial.Readings) (end func())
	// Watch starts reading the sensors.
	Watch func(WatchSpec) SensorWatch
	// Found tells what is known about a trial that has no end on record.
	Found func(Unended) Verdict
}

// LoadSpec says which load to run and for how long.
type LoadSpec struct {
	Load    trial.Load
	Minutes units.Minutes
}

// LoadRun is a load that runs. Its methods are safe for concurrent use.
type LoadRun interface {
	// Progress is how far it is.
	Progress() LoadProgress
	// Stop asks it to end, which takes at most about a second.
	Stop()
	// Done is closed when it has ended and its process is gone.
	Done() <-chan struct{}
	// Result is what came out, once it is done.
	Result() LoadResult
}

// LoadProgress is a load at one moment.
type LoadProgress struct {
	Preparing string        // what is being prepared, "" once the load runs
	Elapsed   time.Duration // under load
	Score     float64       // so far; 0 when not known yet
	Unit      string        // of the score
	Errors    int           // wrong results so far
}

// LoadResult is what a load found. Outcome is Clean, Error or Stopped.
type LoadResult struct {
	Outcome    trial.Outcome
	Elapsed    time.Duration // under load; of an error, the time to the first one
	Scores     []float64     // one for each third of the run
	Errors     int
	CoverageGB float64  // memory check: bytes checked, all passes, 1e9 bytes
	Says       []string // what a person should know: where the errors were, why it ended
}

// WatchSpec is what the reduction of readings may know of a trial.
type WatchSpec struct {
	Clock units.Megahertz // that the settings ask for; 0 when not known
	Limit units.Watt      // sustained power limit; 0 when not known
}

// SensorWatch reads sensors once a second.
type SensorWatch interface {
	// Newest is the newest readings.
	Newest() trial.Readings
	// End stops it and reduces what it read: the readings of the trial, and
	// whether the processor slowed itself down.
	End() (r trial.Readings, throttled bool, says []string)
}

// Unended is a trial that was started and has no end on record.
type Unended struct {
	Session       string
	Trial         int
	Started       time.Time
	BootID        string // "" if unknown
	MemoryChanged bool   // memory settings changed in this trial
	Limit         units.Celsius
}

// Verdict is what is known about how such a trial ended.
type Verdict struct {
	Outcome   trial.Outcome // to offer; "" when the person has to say
	Dated     bool          // Minutes is known
	Minutes   units.Minutes // from the start of the trial to its end
	Certainty string        // certain, likely or unknown
	Says      string
	Evidence  []string
}
