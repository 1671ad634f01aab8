package planner

import (
	"fmt"
	"slices"

	"belay/internal/safety"
	"belay/internal/trial"
	"belay/internal/units"
)

// core climbs the ratio with short trials on the way to where ratio and
// voltage should end, narrows the need by shadow trials below the keep, and
// closes with one soak at the keep.
func core(s *search) (*trial.Proposal, *trial.Ending) {
	base := s.base()
	if base.SetVoltage == 0 || s.belief.need == nil {
		return nil, s.blocked("The baseline and the static voltage have to be measured first.")
	}
	c := &coreSearch{search: s, base: base, mine: s.mine()}
	c.held, c.volt = s.heldStatic()
	if c.held == 0 {
		c.held, c.volt = base.Ratio, base.SetVoltage
	}
	c.floor = min(c.held, base.Ratio) - mostBelow
	c.top = s.fastestAllowed()
	if c.top > 0 && c.held > c.top {
		c.held = c.top
	}
	if len(c.mine) < mostTrials && !c.closing() && c.top == 0 && c.affords(float64(screenMinutes)+changeMinutes) {
		if p := c.climb(); p != nil {
			return p, nil
		}
	}
	p, e := c.settle()
	if p == nil && e.Blocked {
		if back := c.stepBack(); back != nil {
			return back, nil
		}
	}
	return p, e
}

// stepBack proposes the trial that a crash at once asks for: a lower ratio at
// the highest voltage used. It is nil where none is asked for.
func (c *coreSearch) stepBack() *trial.Proposal {
	t := last(c.mine)
	if t == nil || !c.wentDownAtOnce(*t) || len(c.mine) >= mostTrials {
		return nil
	}
	p := c.trial(min(c.held, t.Settings.Ratio-1), c.volt, screenMinutes)
	if p.Settings.Ratio < 1 || !c.safe(p.Settings, p.Load) {
		return nil
	}
	p.Because = "The PC went down at once. One short trial at a setting that should hold shows that nothing else is wrong."
	p.IfClean, p.IfFailed = "The search goes on from there.", "Something else is wrong. Check cooling and memory before you go on."
	return p
}

// coreSearch is one call of the core search.
type coreSearch struct {
	*search
	base  trial.Settings
	mine  []trial.Trial
	held  units.Ratio // the highest that ran clean
	volt  units.Volt  // the highest set voltage used
	floor units.Ratio // the lowest that may be kept
	top   units.Ratio // the highest ratio that later searches allow; 0: no limit
}

// mostBelow is how many ratios below the first static one may be kept, where
// heat, a power cap or the ceiling leave nothing faster. Chosen.
const mostBelow = 3

// heldStatic is the highest ratio that ran clean with a static voltage, and
// the highest voltage that ran without heat trouble.
func (s *search) heldStatic() (units.Ratio, units.Volt) {
	var static []trial.Trial
	for _, t := range s.Trials {
		if t.Settings.VoltageMode == "static" && coreLoad(t.Load) {
			static = append(static, s.belief.ran(t))
		}
	}
	return safety.Held(static)
}

// fastestAllowed is the highest ratio that a later search left open: one below
// that at which nothing was safe to try there. 0: no later search objected.
func (s *search) fastestAllowed() units.Ratio {
	var top units.Ratio
	for _, name := range []string{"wide-vector", "together"} {
		if e, ok := s.Endings[name]; ok && e.Blocked && e.Keep.Ratio > 1 && (top == 0 || e.Keep.Ratio-1 < top) {
			top = e.Keep.Ratio - 1
		}
	}
	return top
}

func (s *search) wentDownAtOnce(t trial.Trial) bool {
	return t.Outcome == trial.NoBoot || t.Outcome.Crash() && !t.TimeUnknown && t.Minutes <= s.Limits.SoonMinutes
}

// closing reports whether the search has begun to prove a keep by a soak.
func (c *coreSearch) closing() bool {
	return slices.ContainsFunc(c.mine, isSoak)
}

// isSoak reports whether a trial of the core search was a closing one.
func isSoak(t trial.Trial) bool { return t.PlannedMinutes == soakMinutes }

func (c *coreSearch) at(r units.Ratio, v units.Volt) trial.Settings {
	x := c.base
	x.Ratio, x.SetVoltage = r, v
	return x
}

func (c *coreSearch) trial(r units.Ratio, v units.Volt, minutes units.Minutes) *trial.Proposal {
	return &trial.Proposal{Settings: c.at(r, v), Load: trial.Scalar, Minutes: minutes}
}

// climb proposes the next ratio up, or nil when climbing is over.
func (c *coreSearch) climb() *trial.Proposal {
	r := c.held + c.Limits.RatioStep
	if c.failedAtTop(r) {
		return nil
	}
	goal, goalV := c.goal(r)
	if goal < r {
		return nil
	}
	pass, screen := c.Tuning.climbPass(), c.Tuning.screenMinutes()
	top := min(up(c.volt, c.Limits.VoltStep), c.Limits.SetCeiling())
	v := c.lowest(c.base, r, top, func(x trial.Settings) bool {
		return c.belief.pass(x, trial.Scalar, screen) >= pass
	})
	if v == 0 {
		v = top
	}
	// Raise the voltage on the way, so that it is there when the ratio is.
	steps := units.Volt(goal - r)
	v = max(v, min(grid(goalV-steps*c.Limits.VoltStep), top))
	v = c.aboveFailures(r, v, top)
	for !c.fine(c.at(r, v)) && c.belief.pass(c.at(r, v-voltGrid), trial.Scalar, screen) >= pass {
		v -= voltGrid
	}
	chance := c.belief.pass(c.at(r, v), trial.Scalar, screen)
	if chance < leastPass {
		return c.raise(top, r)
	}
	minutes := screen
	if c.belief.pass(c.at(r, v), trial.Scalar, screen) >= 0.9 {
		minutes = stepMinutes
	}
	p := c.trial(r, v, minutes)
	if !c.fine(p.Settings) {
		return nil
	}
	p.Because = fmt.Sprintf("Ratio %v held. One step up, at a voltage that passes with a chance of about %.0f %%.", c.held, chance*100)
	p.IfClean = fmt.Sprintf("Ratio %v counts as held, and the next step follows.", r)
	p.IfFailed = "The failure tells how much voltage this ratio needs. The next trial goes higher or steps back."
	return p
}

// fine reports whether settings may be tried and run at their own clock.
func (c *coreSearch) fine(x trial.Settings) bool {
	return c.safe(x, trial.Scalar) && c.belief.fits(x, trial.Scalar)
}

// raise proposes the highest ratio that held at a higher voltage, where the
// next ratio asks for more than one step.
func (c *coreSearch) raise(top units.Volt, next units.Ratio) *trial.Proposal {
	p := c.trial(c.held, top, stepMinutes)
	if top <= c.volt || !c.fine(p.Settings) {
		return nil
	}
	p.Because = fmt.Sprintf("Ratio %v asks for more voltage than one step allows. The same ratio at a higher voltage comes first.", next)
	p.IfClean = "The next ratio follows at about this voltage."
	p.IfFailed = "The search goes back and settles on what held."
	return p
}

// goal is the highest ratio from r upwards that may be kept, as the evidence
// has it now, with the set voltage that it asks for; below r there is none.
func (c *coreSearch) goal(r units.Ratio) (units.Ratio, units.Volt) {
	best, volt := r-1, units.Volt(0)
	for ; r < c.held+mostAhead; r++ {
		v := c.lowest(c.base, r, c.Limits.SetCeiling(), func(x trial.Settings) bool {
			m, _ := c.belief.middle(x, trial.Scalar)
			return m.volt >= c.belief.needAt(r, m.temp, c.Wishes.TargetH, climbQuantile)
		})
		if v == 0 || !c.allowed(c.at(r, v)) {
			break
		}
		best, volt = r, v
	}
	return best, volt
}

// mostAhead is how many ratios are looked ahead. Chosen: further the curve is
// a guess.
const mostAhead = 6

// allowed reports whether nothing but the way there forbids to keep the
// settings.
func (s *search) allowed(x trial.Settings) bool {
	return s.belief.fits(x, trial.Scalar) && !slices.ContainsFunc(s.vet(x, trial.Scalar), func(v safety.Veto) bool {
		return v.Rule != safety.Step && v.Rule != safety.BackOff
	})
}

// aboveFailures never repeats a voltage that failed at this ratio or below.
func (c *coreSearch) aboveFailures(r units.Ratio, v, top units.Volt) units.Volt {
	for _, t := range c.mine {
		if t.Outcome.Failed() && t.Load == trial.Scalar && t.Settings.Ratio <= r && t.Settings.SetVoltage >= v {
			v = min(t.Settings.SetVoltage+voltGrid, top)
		}
	}
	return grid(v)
}

// failedAtTop reports whether the ratio failed where no more voltage is
// allowed, twice at any voltage within one step of the ceiling, or four times
// in all.
func (c *coreSearch) failedAtTop(r units.Ratio) bool {
	failures, nearTop := 0, 0
	for _, t := range c.mine {
		if t.Settings.Ratio == r && (t.Outcome.Failed() || t.Outcome.Hot()) {
			failures++
			if t.Outcome.Hot() || t.Settings.SetVoltage >= c.Limits.SetCeiling()-c.Limits.VoltStep {
				nearTop++
			}
		}
	}
	return failures >= 4 || nearTop >= 2
}

// needAt is the load voltage that a ratio needs for the target at quantile q,
// with the care that tails ask for.
func (b *belief) needAt(r units.Ratio, t units.Celsius, targetH, q float64) units.Volt {
	return b.need.Need(trial.Scalar, r, t, b.tuning.careful(targetH), q)
}

// lowest is the lowest voltage on the grid, up to top, at which ok holds, or
// 0. ok holds from some voltage upwards.
func (s *search) lowest(base trial.Settings, r units.Ratio, top units.Volt, ok func(trial.Settings) bool) units.Volt {
	const bottom = 0.8 // V, chosen: below any desktop part under load
	n := int((float64(top)-bottom)/voltGrid + 1e-6)
	base.Ratio = r
	at := func(i int) trial.Settings {
		x := base
		x.SetVoltage = grid(units.Volt(bottom + float64(i)*voltGrid))
		return x
	}
	if n < 0 || !ok(at(n)) {
		return 0
	}
	lo, hi := -1, n
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; ok(at(mid)) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return at(hi).SetVoltage
}

// confident reports whether the settings meet the target with the claimed
// confidence, under every core load that was tried beside wide vectors.
func (s *search) confident(x trial.Settings) bool {
	if s.belief.confidence(x, trial.Scalar, s.Wishes.TargetH) < claim {
		return false
	}
	for _, t := range s.Trials {
		if t.Load == trial.Mixed {
			return s.belief.confidence(x, trial.Mixed, s.Wishes.TargetH) >= claim
		}
	}
	return true
}
