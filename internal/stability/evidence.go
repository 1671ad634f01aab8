package stability

import (
	"fmt"
	"math"

	"belay/internal/trial"
	"belay/internal/units"
)

// thin is the share of the prior's variance above which the posterior is
// called nearly the prior. Chosen: less than half of the spread is gone.
const thin = 0.25

// farSteps is how far from the nearest trial, in steps of 100 MHz, a need is
// called a guess. Chosen: within it the curvature's prior adds less than 10 mV.
const farSteps = 3

// Warnings says what limits the numbers for this load and ratio, and what
// would help most. It is empty when nothing does.
func (p *Posterior) Warnings(load trial.Load, r units.Ratio) []string {
	var out []string
	c := classOf(load)
	if c < 0 {
		return []string{fmt.Sprintf("The load %q is not known; these numbers are for the scalar load.", string(load))}
	}
	d, _ := p.prior.step(r)
	if p.Thin(load, r) {
		out = append(out, fmt.Sprintf("Not enough evidence yet. A ten-minute trial under the %s load at ratio %d helps most.", load, r))
	}
	near, failed := math.Inf(1), false
	for i := range p.readings {
		near = math.Min(near, math.Abs(p.readings[i].d-d))
		failed = failed || p.readings[i].failed
	}
	if len(p.readings) == 0 {
		return out
	}
	if near >= farSteps {
		out = append(out, fmt.Sprintf("The nearest trial is %.0f MHz away. Trials closer to this ratio narrow the band.", near*100))
	}
	if !failed {
		out = append(out, "No trial has failed yet, so the edge is not located. A trial at a lower voltage finds it.")
	}
	return out
}

// Thin reports whether the posterior for this load and ratio is still nearly
// the prior, so that no claim should rest on it. An unknown load is thin.
func (p *Posterior) Thin(load trial.Load, r units.Ratio) bool {
	c := classOf(load)
	if c < 0 {
		return true
	}
	d, dd := p.prior.step(r)
	before := sq(p.prior.ASD) + d*d*sq(p.prior.BSD) + dd*dd*sq(p.prior.CSD)
	if c > 0 {
		_, osd := p.prior.offset(c)
		before += osd * osd
	}
	q := p.line(load, r, p.prior.TRef, 1.0/6)
	_, after := q.spread()
	return after > thin*before
}

func sq(v units.Volt) float64 { return v.Millivolts() * v.Millivolts() }
