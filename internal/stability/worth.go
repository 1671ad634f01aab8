package stability

import (
	"math"

	"belay/internal/trial"
	"belay/internal/units"
)

// Keep is the setting that a trial is to prove.
type Keep struct {
	Load        trial.Load
	Ratio       units.Ratio
	LoadVoltage units.Volt
	CoreTemp    units.Celsius // 0 = the prior's reference
	TargetH     float64       // mean time between failures, hours
}

// Worth is what a planned trial is expected to teach about a keep.
type Worth struct {
	PassProbability float64
	Confidence      float64 // of the keep, now
	IfClean         float64 // of the keep, after a clean run
	IfFailed        float64 // of the keep, after a failure, its time averaged out
	SDNow           float64 // of the need at the keep's ratio and target, mV
	SDExpected      float64 // root of the expected variance after the trial, mV
	Nats            float64 // expected information on the need, ln(SDNow/SDExpected), >= 0
}

// WorthOf returns what a trial planned as o (its Kind and times of failure are
// not read) is expected to teach about keep. A failure early and a failure
// late are told apart, at a quarter of the time.
func (p *Posterior) WorthOf(o Observation, keep Keep) (Worth, error) {
	o.Kind, o.FailedFrom, o.FailedTo, o.AtOnce = Clean, 0, 0, false
	if err := o.check(); err != nil {
		return Worth{}, err
	}
	q := p.line(keep.Load, keep.Ratio, keep.CoreTemp, keep.TargetH)
	v := keep.LoadVoltage.Millivolts()
	_, before := q.spread()
	out := Worth{SDNow: math.Sqrt(before)}
	out.Confidence, _ = q.chance(v)

	plan := p.prior.reading(o)
	p.class(plan.class) // its growth is used below
	late, early := o, o
	early.Kind, early.FailedTo = Failed, o.PlannedMinutes/4
	late.Kind, late.FailedFrom, late.FailedTo = Failed, o.PlannedMinutes/4, o.PlannedMinutes
	var after, failedMass, failedSure float64
	for _, next := range []Observation{o, early, late} {
		r := p.prior.reading(next)
		t, mass := p.suppose(classIndex(keep.Load), &r)
		if mass < negligible {
			continue
		}
		h := q
		h.t = t
		sure, _ := h.chance(v)
		_, variance := h.spread()
		after += mass * variance
		if next.Kind == Clean {
			out.PassProbability, out.IfClean = mass, sure/mass
		} else {
			failedMass += mass
			failedSure += sure
		}
	}
	if failedMass > 0 {
		out.IfFailed = failedSure / failedMass
	}
	after /= out.PassProbability + failedMass
	out.SDExpected = math.Min(math.Sqrt(after), out.SDNow)
	out.Nats = math.Log(out.SDNow / out.SDExpected)
	return out, nil
}

// suppose returns the distribution of class c's location joined with the
// outcome r, and the chance of that outcome. The table is scratch: it holds
// until the next call.
func (p *Posterior) suppose(c int, r *reading) (*table, float64) {
	k := p.class(r.class)
	n := len(p.nodes)
	factor := grow(p.factor, n*cells)
	p.factor = factor
	keep := 1 - p.prior.Eps
	for j := range p.nodes {
		if k.now.weight[j] < negligible {
			clear(factor[j*cells : (j+1)*cells])
			continue
		}
		base := p.nodes[j].hazard(r.d, r.dd, r.v)
		for i, g := range k.growth[j*cells : (j+1)*cells] {
			f := &factor[j*cells+i]
			if r.failed {
				*f = r.likelihood(base*g, keep)
			} else {
				*f = keep * decay(base*g*r.t2)
			}
		}
	}
	t := &p.supposed
	t.mass = grow(t.mass, n*cells)
	p.masses(t.mass, c, r.class, factor)
	t.sum(&p.classes[c].axis, n)
	mass := 0.0
	for _, w := range t.weight {
		mass += w
	}
	return t, mass
}

// longestSoak is the longest clean run that SoakToClaim offers. Chosen: two
// days; a longer one is better replaced by trials below the keep.
const longestSoak units.Minutes = 48 * 60

// SoakToClaim returns how long a clean run at the setting must be for its
// confidence to reach the wanted one. Zero if it is there already; false with
// the longest soak if even that does not do.
func (p *Posterior) SoakToClaim(load trial.Load, r units.Ratio, v units.Volt, t units.Celsius, targetH, confidence float64) (units.Minutes, bool) {
	q := p.line(load, r, t, targetH)
	mv := v.Millivolts()
	if now, _ := q.chance(mv); now >= confidence {
		return 0, true
	}
	c := classIndex(load)
	run := reading{class: c, d: q.d, dd: q.dd, v: mv - q.heat}
	after := func(minutes float64) float64 {
		run.t2 = minutes
		h := q
		var mass float64
		h.t, mass = p.suppose(c, &run)
		if mass <= 0 {
			return 0
		}
		sure, _ := h.chance(mv)
		return sure / mass
	}
	if after(float64(longestSoak)) < confidence {
		return longestSoak, false
	}
	lo, hi := 0.0, math.Log(float64(longestSoak))
	for hi-lo > 0.01 { // to one percent
		mid := (lo + hi) / 2
		if after(math.Exp(mid)) < confidence {
			lo = mid
		} else {
			hi = mid
		}
	}
	return units.Minutes(math.Exp(hi)), true
}

// classIndex is classOf with an unknown load taken as scalar.
func classIndex(l trial.Load) int { return max(classOf(l), 0) }
