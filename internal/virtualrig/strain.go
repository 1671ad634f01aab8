package virtualrig

import (
	"math"

	"belay/internal/trial"
	"belay/internal/units"
)

// Strain is what a load truly asks of a rig.
type Strain struct {
	Ratio       float64       // true mean ratio; below the set one where a limit slows the rig
	LoadVoltage units.Volt    // as it settles
	CoreTemp    units.Celsius // hottest core at the end of the load
	Power       units.Watt    // as it settles
}

// Strain is the truth, for judging only: what the rig goes through in so many
// minutes of the load. +Inf minutes is until nothing moves. It is zero for a
// rig that does not start, an unknown load and minutes below zero or NaN.
func (r *Rig) Strain(s trial.Settings, load trial.Load, minutes units.Minutes) Strain {
	i, known := loadIndex(load)
	u, ok := r.t.accept(s)
	if !known || !ok || !r.t.boots(u) || !(minutes >= 0) {
		return Strain{}
	}
	c := r.t.settle(i, u)
	p := r.t.plan(c, float64(minutes))
	temp := min(r.t.cooling.tempAt(c.full.temp, math.Min(float64(minutes), p.minutes)), r.t.cooling.limit)
	return Strain{
		Ratio: p.state.ratio, LoadVoltage: units.Volt(p.state.volts),
		CoreTemp: units.Celsius(temp), Power: units.Watt(p.state.watts),
	}
}
