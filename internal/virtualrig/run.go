package virtualrig

import (
	"math"

	"belay/internal/trial"
	"belay/internal/units"
)

// tooMuchSlowing is the share of the clock beyond which heat ends a trial
// instead of slowing it. Chosen.
const tooMuchSlowing = 0.08

// Run makes one trial and returns at once; its minutes are simulated.
//
// The rig does not start with settings that no firmware would take (NaN,
// negative, absurd). It returns Stopped with no minutes for a load that it
// does not know and for minutes that are not a positive number.
func (r *Rig) Run(n int, s trial.Settings, load trial.Load, minutes units.Minutes) trial.Trial {
	t := &r.t
	out := trial.Trial{N: n, Load: load, Settings: s, Outcome: trial.Stopped}
	i, known := loadIndex(load)
	planned := float64(minutes)
	if planned > 0 && !math.IsInf(planned, 1) {
		out.PlannedMinutes = minutes
	}
	u, ok := t.accept(s)
	switch {
	case !ok || !t.boots(u):
		out.Outcome = trial.NoBoot
		return out
	case !known || out.PlannedMinutes == 0:
		return out
	}
	luck := func(stream uint64) dice {
		return newDice(r.seed, number(string(r.variant)), stream, uint64(n), uint64(i))
	}
	c := t.settle(i, u)
	p := t.plan(c, planned)
	out.Outcome, out.Minutes = p.outcome, units.Minutes(p.minutes)
	fate := luck(streamFate)
	h := t.hazards(i, u, p.state, p.temp)
	if at := t.failsAt(fate, i, u, p); at < p.minutes {
		out.Minutes = units.Minutes(at)
		out.Outcome, out.Readings.ErrorsFound = h.kind(fate)
	}
	found := out.Readings.ErrorsFound
	elapsed := float64(out.Minutes)
	temp := min(t.cooling.tempAt(c.full.temp, elapsed), p.temp)
	out.Readings = t.read(luck(streamMeter), n, p.state, temp, elapsed, u)
	out.Readings.ErrorsFound = found
	if load == trial.Memory {
		out.Readings.CoverageGB = quantise(coverage(u.memory, elapsed), 0.1)
	}
	if out.Outcome == trial.Clean || out.Outcome == trial.Throttled {
		t.score(luck(streamScore), &out.Readings, i, u, p.state)
	}
	if t.coarse && out.Outcome.Failed() {
		blur(fate, &out)
	}
	return out
}

// plan is how a trial goes if nothing fails.
type plan struct {
	state   state
	temp    float64 // °C at which the hazard counts
	minutes float64
	outcome trial.Outcome
}

// plan applies heat: a trial that ends before the rig has reached its
// temperature limit is clean, a longer one is slowed or ended by it.
func (t *truth) plan(c course, minutes float64) plan {
	p := plan{c.full, min(c.full.temp, t.cooling.limit), minutes, trial.Clean}
	if hotAt := t.cooling.minutesTo(t.cooling.limit, c.full.temp); minutes > hotAt {
		if c.slowed() > tooMuchSlowing {
			p.minutes, p.outcome = hotAt, trial.TooHot
		} else {
			p.state, p.outcome = c.settled, trial.Throttled
		}
	}
	return p
}

// hazards are failures per minute by cause.
type hazards struct{ core, cache, memory, low, stray float64 }

func (h hazards) total() float64 { return h.core + h.cache + h.memory + h.low + h.stray }

// reach returns how far a load reaches into cache and memory. Chosen: a load
// that is not made for them still touches them now and then.
func reach(load int) (intoCache, intoMemory float64) {
	switch load {
	case cached:
		return 1, 0.02
	case memory:
		return 0.1, 1
	case mixed:
		return 1, 0.5
	}
	return 0.1, 0.02
}

// cacheRatio is the true cache ratio: it follows the cores down when a limit
// slows them.
func (t *truth) cacheRatio(load int, u setup, s state) float64 {
	full := u.ratio
	if load == wide {
		full = max(full-u.wideOffset, slowest)
	}
	return u.cache * min(s.ratio/full, 1)
}

func (t *truth) hazards(load int, u setup, s state, temp float64) hazards {
	c := &t.core
	intoCache, intoMemory := reach(load)
	h := hazards{
		core:   c.hazard(load, s.ratio, s.volts, temp),
		cache:  intoCache * c.law.hazard((s.volts-t.cache.needAt(t.cacheRatio(load, u, s)))/c.width),
		memory: intoMemory * t.dram.hazard(u.memory),
		stray:  t.stray,
	}
	if load == bursty {
		h.low = c.law.hazard((u.low - t.supply.idleNeed) / c.width)
	}
	return h
}

// failsAt draws the time of the first failure in minutes. A rig that warms is
// followed in small steps over four time constants, then stays settled.
func (t *truth) failsAt(d dice, load int, u setup, p plan) float64 {
	budget := d.ExpFloat64()
	settled := t.hazards(load, u, p.state, p.temp).total()
	if !t.warms {
		return budget / settled
	}
	const steps = 16
	dt := 4 * t.cooling.tau / steps
	for k := range steps {
		temp := min(t.cooling.tempAt(p.state.temp, (float64(k)+0.5)*dt), p.temp)
		h := t.hazards(load, u, p.state, temp).total()
		if h*dt >= budget {
			return float64(k)*dt + budget/h
		}
		budget -= h * dt
	}
	return steps*dt + budget/settled
}

// kind draws what a failure looks like. Close to the need a load finds a wrong
// result; further below, the machine goes down. Shares chosen: common
// practice knows the order, not the numbers.
func (h hazards) kind(d dice) (trial.Outcome, int) {
	u := d.Float64() * h.total()
	cause, wrong := h.core+h.cache, 0.0
	switch {
	case u < h.core+h.cache:
		depth := math.Log(cause / hazardAtNeed)
		switch {
		case depth < 1:
			wrong = 0.75
		case depth < 4:
			wrong = 0.40
		default:
			wrong = 0.05
		}
	case u < h.core+h.cache+h.memory:
		cause, wrong = h.memory, 0.85
	}
	size := d.ExpFloat64()
	if d.chance(wrong) {
		return trial.Error, 1 + int(size*min(cause, 1e4))
	}
	if u >= h.total()-h.stray && h.stray > 0 {
		return trial.Reset, 0
	}
	return pick(d, trial.Froze, trial.Reset), 0
}

// blur leaves the time to failure known to the minute, or not at all.
func blur(d dice, out *trial.Trial) {
	if d.chance(0.4) {
		out.Minutes, out.TimeUnknown = 0, true
		return
	}
	out.Minutes = min(units.Minutes(math.Ceil(float64(out.Minutes))), out.PlannedMinutes)
}
