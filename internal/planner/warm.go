package planner

import (
	"math"

	"belay/internal/stability"
	"belay/internal/units"
)

// idleRise is how far above the air the hottest core is before a trial, °C.
// Chosen: a usual rise at idle.
const idleRise = 12

// warmSteps is the number of steps over a warm-up. Chosen: the integral is
// right to about one percent.
const warmSteps = 16

// warmed shortens an observation to the time that counts at the temperature
// at its end: while a PC warms up it needs less voltage, so the first minutes
// prove less. Each minute counts by the hazard there over that at the end.
func (b *belief) warmed(o stability.Observation, ran units.Minutes) stability.Observation {
	start := float64(b.air) + idleRise
	end := float64(o.CoreTemp)
	tau := float64(b.heat.Tau())
	if b.air == 0 || end <= start || !(tau > 0) || !(ran > 0) {
		return o
	}
	perDegree := float64(b.prior.KT) / float64(b.prior.SMedian) // e-folds per degree
	reach := -math.Expm1(-float64(ran) / tau)
	share := 0.0
	for k := range warmSteps {
		t := float64(ran) * (float64(k) + 0.5) / warmSteps
		at := start + (end-start)*-math.Expm1(-t/tau)/reach
		share += math.Exp(-perDegree*(end-at)) / warmSteps
	}
	f := units.Minutes(share)
	o.PlannedMinutes *= f
	o.FailedFrom *= f
	o.FailedTo *= f
	return o
}
