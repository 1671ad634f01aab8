package planner

import (
	"fmt"
	"slices"

	"belay/internal/safety"
	"belay/internal/trial"
	"belay/internal/units"
)

const (
	// screenPass is the chance of passing that a screening trial is set for.
	// Chosen: likely to pass, since a crash costs more time than a clean run,
	// and yet unsure enough to teach something. See docs/adr/0006-first-planner.md.
	screenPass = 0.72
	// claim is the confidence that a keep is to reach.
	claim = 0.90
	// narrow is how near the 90 % need has to lie to the median before the
	// closing trial is worth its time, in V.
	narrow = 0.018
	// Chosen: past this many trials of one search more evidence costs more
	// than it brings.
	mostTrials = 30
	mostShadow = 10
)

// core climbs the ratio with short screening trials, then settles on a ratio
// by shadow trials below the keep and one soak at the keep.
func core(s *search) (*trial.Proposal, *trial.Ending) {
	base := s.base()
	if base.SetVoltage == 0 || s.belief.need == nil {
		return nil, s.blocked("The baseline and the static voltage have to be measured first.")
	}
	held, volt := s.heldStatic()
	if held == 0 {
		held, volt = base.Ratio, base.SetVoltage
	}
	if top := s.fastestAllowed(); top > 0 && held > top {
		held = top
	}
	mine := s.mine()
	if t := last(mine); t != nil && s.wentDownAtOnce(*t) {
		p := s.coreTrial(base, min(held, t.Settings.Ratio-1), volt, screenMinutes)
		p.Because = "The PC went down at once. One short trial at a setting that held shows that nothing else is wrong."
		p.IfClean, p.IfFailed = "The search goes on from there.", "Something else is wrong. Check cooling and memory before you go on."
		return p, nil
	}
	if len(mine) < mostTrials && !settling(mine) && s.fastestAllowed() == 0 {
		if p := s.climb(base, held, volt); p != nil {
			return p, nil
		}
	}
	return s.settle(base, held, volt, mine)
}

// heldStatic is the highest ratio that ran clean with a static voltage, and
// the highest voltage that ran without heat trouble.
func (s *search) heldStatic() (units.Ratio, units.Volt) {
	var static []trial.Trial
	for _, t := range s.Trials {
		if t.Settings.VoltageMode == "static" && coreLoad(t.Load) {
			static = append(static, t)
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

// settling reports whether the search has begun to prove a keep by a soak.
func settling(mine []trial.Trial) bool {
	return slices.ContainsFunc(mine, func(t trial.Trial) bool { return t.PlannedMinutes >= soakMinutes })
}

func (s *search) coreTrial(base trial.Settings, r units.Ratio, v units.Volt, minutes units.Minutes) *trial.Proposal {
	base.Ratio, base.SetVoltage = r, v
	return &trial.Proposal{Settings: base, Load: trial.Scalar, Minutes: minutes}
}

// climb proposes the next ratio up, or nil when climbing is over.
func (s *search) climb(base trial.Settings, held units.Ratio, volt units.Volt) *trial.Proposal {
	r := held + s.Limits.RatioStep
	if s.failedAtTop(r) || s.belief.needLoad(s, base, r, 0.5) > s.Limits.CoreCeiling {
		return nil
	}
	top := min(up(volt, s.Limits.VoltStep), s.Limits.SetCeiling())
	v := s.lowest(base, r, top, func(x trial.Settings) bool {
		return s.belief.pass(x, trial.Scalar, screenMinutes) >= screenPass
	})
	if v == 0 {
		v = top
	}
	v = s.aboveFailures(r, v, top)
	p := s.coreTrial(base, r, v, screenMinutes)
	chance := s.belief.pass(p.Settings, p.Load, p.Minutes)
	if chance < 0.25 && top > volt && s.safe(s.coreTrial(base, held, top, screenMinutes).Settings, trial.Scalar) {
		p = s.coreTrial(base, held, top, screenMinutes)
		p.Because = fmt.Sprintf("Ratio %v asks for more voltage than one step allows. The same ratio at a higher voltage comes first.", r)
		p.IfClean = "The next ratio follows at about this voltage."
		p.IfFailed = "The search goes back and settles on what held."
		return p
	}
	if !s.safe(p.Settings, p.Load) || chance < 0.1 {
		return nil
	}
	p.Because = fmt.Sprintf("Ratio %v held. One step up, at a voltage that should pass with a chance of about %.0f %%.", held, chance*100)
	p.IfClean = fmt.Sprintf("Ratio %v counts as held, and the next step follows.", r)
	p.IfFailed = "The failure tells how much voltage this ratio needs. The next trial goes higher or steps back."
	return p
}

// aboveFailures never repeats a voltage that failed at this ratio or below.
func (s *search) aboveFailures(r units.Ratio, v, top units.Volt) units.Volt {
	for _, t := range s.mine() {
		if t.Outcome.Failed() && t.Load == trial.Scalar && t.Settings.Ratio <= r && t.Settings.SetVoltage >= v {
			v = min(t.Settings.SetVoltage+voltGrid, top)
		}
	}
	return grid(v)
}

// failedAtTop reports whether the ratio failed where no more voltage is
// allowed, twice at any voltage within one step of the ceiling, or five times
// in all.
func (s *search) failedAtTop(r units.Ratio) bool {
	failures, nearTop := 0, 0
	for _, t := range s.mine() {
		if t.Settings.Ratio == r && (t.Outcome.Failed() || t.Outcome.Hot()) {
			failures++
			if t.Outcome.Hot() || t.Settings.SetVoltage >= s.Limits.SetCeiling()-s.Limits.VoltStep {
				nearTop++
			}
		}
	}
	return failures >= 5 || nearTop >= 2
}

// needLoad is the load voltage that a ratio needs for the target at quantile
// q, under the hardest of the core loads that were tried.
func (b *belief) needLoad(s *search, base trial.Settings, r units.Ratio, q float64) units.Volt {
	base.Ratio = r
	v := b.need.Need(trial.Scalar, r, b.temp(base, trial.Scalar), s.Wishes.TargetH, q)
	for _, t := range s.Trials {
		if t.Load == trial.Mixed {
			return max(v, b.need.Need(trial.Mixed, r, b.temp(base, trial.Mixed), s.Wishes.TargetH, q))
		}
	}
	return v
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

// settle proves the fastest ratio whose keep is allowed.
func (s *search) settle(base trial.Settings, held units.Ratio, volt units.Volt, mine []trial.Trial) (*trial.Proposal, *trial.Ending) {
	for r := held; r >= base.Ratio && r > 0; r-- {
		keep := s.lowest(base, r, s.Limits.SetCeiling(), s.confident)
		if keep == 0 {
			continue
		}
		x := base
		x.Ratio, x.SetVoltage = r, keep
		if slices.ContainsFunc(s.vet(x, trial.Scalar), func(v safety.Veto) bool { return v.Rule != safety.Step && v.Rule != safety.BackOff }) {
			continue
		}
		if p, e := s.prove(base, x, volt, mine); p != nil || e != nil {
			return p, e
		}
	}
	return nil, s.blocked("No ratio above the delivered one met the target within the limits. The settings stay as delivered.")
}

// prove proposes the next trial towards the keep, or ends with it.
func (s *search) prove(base, keep trial.Settings, volt units.Volt, mine []trial.Trial) (*trial.Proposal, *trial.Ending) {
	r, v := keep.Ratio, keep.SetVoltage
	if v > up(volt, s.Limits.VoltStep) {
		p := s.coreTrial(base, r, up(volt, s.Limits.VoltStep), screenMinutes)
		p.Because = "The voltage to keep is more than one step above what was used so far. One step comes first."
		p.IfClean, p.IfFailed = "The voltage to keep is within reach.", "The need is higher than thought, and the estimate follows."
		return p, nil
	}
	spread := s.belief.needLoad(s, base, r, claim) - s.belief.needLoad(s, base, r, 0.5)
	shadows, soaked := 0, false
	for _, t := range mine {
		if t.Settings.Ratio != r {
			continue
		}
		if t.PlannedMinutes >= soakMinutes && t.Outcome == trial.Clean && t.Settings.SetVoltage <= v {
			soaked = true
		}
		if t.PlannedMinutes < soakMinutes && t.Settings.SetVoltage < v {
			shadows++
		}
	}
	confidence := s.belief.confidence(keep, trial.Scalar, s.Wishes.TargetH)
	if soaked || len(mine) >= mostTrials+mostShadow {
		return nil, s.keep(keep, fmt.Sprintf("Ratio %v at %v is the fastest setting that meets your target. Confidence: %d %%.", r, v, Percent(confidence)))
	}
	if spread > narrow && shadows < mostShadow {
		shadow := s.lowest(base, r, v-voltGrid, func(x trial.Settings) bool {
			return s.belief.pass(x, trial.Scalar, screenMinutes) >= screenPass
		})
		if shadow == 0 {
			shadow = v - voltGrid
		}
		p := s.coreTrial(base, r, shadow, screenMinutes)
		if s.safe(p.Settings, p.Load) {
			p.Because = "A shadow trial: below the voltage to keep, a short run proves more than a night at the keep."
			p.IfClean = "The voltage to keep may come down."
			p.IfFailed = "The need is bracketed. The voltage to keep rises a little."
			return p, nil
		}
	}
	p := s.coreTrial(base, r, v, soakMinutes)
	p.Because = fmt.Sprintf("This is the setting to keep. By the trials so far it meets your target with %d %% confidence.", Percent(confidence))
	p.IfClean = "The search ends with this setting."
	p.IfFailed = "The voltage to keep rises, or the ratio steps back."
	return p, nil
}
