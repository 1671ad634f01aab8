package planner

import (
	"fmt"
	"math"

	"belay/internal/trial"
	"belay/internal/units"
)

// step is one change that a search may try next.
type step struct {
	settings trial.Settings
	name     string
	gain     float64 // of work that it helps, as a share: 0.01 is 1 %
	holds    float64 // chance that it holds
	minutes  units.Minutes
}

// rate is the expected gain in percent per hour: as for the core search, a
// trial costs its minutes, the change before it, and a crash if it fails.
func (s step) rate() float64 {
	cost := float64(s.minutes) + changeMinutes + reportMinutes + (1-s.holds)*crashShare*crashMinutes
	return 100 * s.gain * s.holds / (cost / 60)
}

// holdsFirst is the chance that the first step past a rating holds, and
// holdsNext the factor for each step of the same kind after it. Common
// practice, no source: the first steps usually hold, few kinds give three.
const (
	holdsFirst = 0.65
	holdsNext  = 0.70
)

// holding is the chance that one more step of a kind holds.
func holding(taken int) float64 { return holdsFirst * math.Pow(holdsNext, float64(taken)) }

// leastRate is the expected gain, percent per hour, below which a step is not
// worth a trial. Chosen: a working evening is to bring more than one percent of
// the work that the step helps.
const leastRate = 0.25

// bestStep returns the step that pays most per hour, and false if none pays.
func bestStep(steps []step) (step, bool) {
	var best step
	for _, s := range steps {
		if s.rate() > best.rate() {
			best = s
		}
	}
	return best, best.rate() >= leastRate
}

// text says what a step is expected to bring.
func (s step) text() string {
	return fmt.Sprintf("Expected gain: about %.1f %% of memory-bound work, with a chance of about %.0f %% to hold.", 100*s.gain, 100*s.holds)
}
