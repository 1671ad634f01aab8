package planner

import (
	"math"

	"belay/internal/stability"
	"belay/internal/units"
)

// The numbers of the core search. Each was chosen over populations of
// simulated PCs; docs/models/planner.md has the comparison.
const (
	// claim is the confidence that a keep is to reach.
	claim = 0.90
	// climbPass is the chance of passing that a climbing trial is set for.
	// Chosen: failures on the way up teach, but a crash costs more time than a
	// clean run.
	climbPass = 0.65
	// leastPass is the chance below which a trial is not worth its crash.
	leastPass = 0.35
	// mostPass is the chance above which a trial is taken to tell nothing.
	mostPass = 0.97
	// climbQuantile decides whether the next ratio is worth a trial: the need
	// at this quantile has to lie within the limits. Chosen: between the
	// median and the claim, since the evidence still narrows on the way.
	climbQuantile = 0.60
	// worthRate is the expected gain, in mV of voltage to keep per minute,
	// below which no further shadow trial is proposed.
	worthRate = 0.06
	// Chosen: past this many trials of one search more evidence costs more
	// than it brings.
	mostTrials = 30
	mostShadow = 14
	mostSoaks  = 3
)

// Costs of a trial beyond its minutes. Common practice, no source: entering
// the firmware setup and starting again takes about 5 minutes; a crash with
// its restart and check about 8.
const (
	changeMinutes = 5.0
	crashMinutes  = 8.0
	reportMinutes = 2.0 // to start it and to type what was read; chosen
	// crashShare is the share of failures that take the PC down; the others
	// are wrong results. Chosen.
	crashShare = 0.5
)

// Beyond tailKnee factors e above the ten-minute need no trial of an evening
// sees a failure: it would take hours. What is claimed beyond rests on the
// law, and laws with heavier tails fall more slowly there. A claim counts on
// tailPace of the pace that the trials show. Chosen so that the claims hold
// under every law of the simulated population; it is the price in voltage
// for that.
const (
	tailKnee = 3.0
	tailPace = 0.65
)

// Tuning changes the core search, to find out what its parts are worth. The
// zero value changes nothing.
type Tuning struct {
	ClimbPass     float64       // chance of passing that a climbing trial is set for; 0: as it is
	ScreenMinutes units.Minutes // length of a climbing trial; 0: as it is
	TailPace      float64       // pace of the hazard beyond the knee, up to 1; 0: as it is
	NoShadow      bool          // no trials below the keep
	OwnRatio      bool          // only core trials at the newest one's ratio count: no shared curve
}

func (t Tuning) climbPass() float64 {
	if t.ClimbPass > 0 {
		return t.ClimbPass
	}
	return climbPass
}

func (t Tuning) screenMinutes() units.Minutes {
	if t.ScreenMinutes > 0 {
		return t.ScreenMinutes
	}
	return screenMinutes
}

// careful returns the mean time between failures, in hours, for which the
// exponential law has to be satisfied so that a law that falls at tailPace
// beyond the knee still meets targetH.
func (t Tuning) careful(targetH float64) float64 {
	pace := tailPace
	if t.TailPace > 0 {
		pace = t.TailPace
	}
	e := stability.Efolds(targetH)
	if e <= tailKnee {
		return targetH
	}
	return targetH * math.Exp((e-tailKnee)*(1/pace-1))
}

// hotNeed is how much more voltage a hotter core needs, V per degree Celsius.
// Chosen at the high end: sources differ in sign, and a short trial is cooler
// than hours of work.
const hotNeed units.Volt = 0.0004

// Lengths of trials in minutes. Chosen: a measurement lasts several warm-up
// times of a cooler; a trial that is nearly sure to pass only has to show
// that the step up is held; the closing trial is as long as an evening allows.
const (
	measureMinutes units.Minutes = 15
	stepMinutes    units.Minutes = 4
	screenMinutes  units.Minutes = 8
	soakMinutes    units.Minutes = 30
	memoryMinutes  units.Minutes = 20
)

// shadowMinutes are the lengths that a shadow trial may have.
var shadowMinutes = []units.Minutes{8, 12, 20}
