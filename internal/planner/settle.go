package planner

import (
	"fmt"

	"belay/internal/trial"
	"belay/internal/units"
)

// settle proves the fastest ratio whose keep is allowed.
func (c *coreSearch) settle() (*trial.Proposal, *trial.Ending) {
	for r := c.held; r >= c.floor && r > 0; r-- {
		keep := c.lowest(c.base, r, c.Limits.SetCeiling(), c.confident)
		if keep == 0 || !c.allowed(c.at(r, keep)) {
			// More evidence may bring the voltage within the limits yet.
			if p := c.rescue(r); p != nil {
				return p, nil
			}
			continue
		}
		if p, e := c.prove(c.at(r, keep)); p != nil || e != nil {
			return p, e
		}
	}
	return nil, c.blocked("No ratio near the delivered one can be shown to meet the target within the limits. The settings stay as delivered. Better cooling or a rarer use of heavy load would give room.")
}

// rescue proposes a shadow trial for a ratio that is likely to meet the
// target within the limits, but not yet with the claimed confidence.
func (c *coreSearch) rescue(r units.Ratio) *trial.Proposal {
	if goal, v := c.goal(r); goal >= r && c.mayShadow() {
		if g := c.bestShadow(c.at(r, v)); g.rate >= worthRate && c.affords(g.cost) {
			return c.shadow(g)
		}
	}
	return nil
}

// mayShadow reports whether trials below the keep may go on.
func (c *coreSearch) mayShadow() bool {
	return !c.closing() && c.shadows() < mostShadow && !c.Tuning.NoShadow
}

// shadows counts the trials below a keep so far.
func (c *coreSearch) shadows() int {
	n := 0
	for _, t := range c.mine {
		if t.Settings.Ratio <= c.held && !isSoak(t) {
			n++
		}
	}
	return n
}

// prove proposes the next trial towards the keep, or ends with it.
func (c *coreSearch) prove(keep trial.Settings) (*trial.Proposal, *trial.Ending) {
	r, v := keep.Ratio, keep.SetVoltage
	if reach := up(c.volt, c.Limits.VoltStep); v > reach && len(c.mine) < mostTrials {
		p := c.trial(r, reach, stepMinutes)
		if c.safe(p.Settings, p.Load) {
			p.Because = "The voltage to keep is more than one step above what was used so far. One step comes first."
			p.IfClean, p.IfFailed = "The voltage to keep is within reach.", "The need is higher than thought, and the estimate follows."
			return p, nil
		}
		return nil, nil
	}
	if soaked, ok := c.soaked(keep); ok {
		confidence := c.belief.confidence(soaked, trial.Scalar, c.Wishes.TargetH)
		return nil, c.keep(soaked, fmt.Sprintf("Ratio %v at %v is the fastest setting that meets your target. Confidence: %d %%. %s",
			r, soaked.SetVoltage, Percent(confidence), c.another(soaked)))
	}
	if c.mayShadow() {
		if g := c.bestShadow(keep); g.rate >= worthRate && c.affords(g.cost) {
			return c.shadow(g), nil
		}
	}
	if c.soaks() >= mostSoaks {
		return nil, nil
	}
	return c.soak(keep), nil
}

// soakBelow is how far below the keep the closing trial may run, in V: a
// clean run brings the voltage to keep down by about that much.
const soakBelow = voltGrid

func (c *coreSearch) soak(keep trial.Settings) *trial.Proposal {
	p := c.trial(keep.Ratio, keep.SetVoltage-soakBelow, soakMinutes)
	if !c.safe(p.Settings, p.Load) {
		return nil
	}
	p.Because = fmt.Sprintf("This is the setting to keep, or one step below it. By the trials so far it meets your target with %d %% confidence.",
		Percent(c.belief.confidence(keep, trial.Scalar, c.Wishes.TargetH)))
	p.IfClean = "The search ends here."
	p.IfFailed = "The voltage to keep rises, or the ratio steps back."
	return p
}

func (c *coreSearch) soaks() int {
	n := 0
	for _, t := range c.mine {
		if isSoak(t) {
			n++
		}
	}
	return n
}

// soaked returns the keep with a voltage that a clean closing trial covers:
// its own, or that of a trial that ran a little higher.
func (c *coreSearch) soaked(keep trial.Settings) (trial.Settings, bool) {
	best := keep
	found := false
	for _, t := range c.mine {
		x := t.Settings
		if !isSoak(t) || t.Outcome != trial.Clean || x.Ratio != keep.Ratio {
			continue
		}
		if v := max(x.SetVoltage, keep.SetVoltage); !found || v < best.SetVoltage {
			best.SetVoltage, found = v, true
		}
	}
	return best, found
}

// shadow makes the proposal of a shadow trial.
func (c *coreSearch) shadow(g gained) *trial.Proposal {
	p := c.trial(g.at.Ratio, g.at.SetVoltage, g.minutes)
	p.Because = fmt.Sprintf("A shadow trial, below the voltage to keep: a short run here tells more than a night at the keep. Expected: about %.0f mV less to keep.", g.mv)
	p.IfClean = "The voltage to keep may come down."
	p.IfFailed = "The need is bracketed, and the voltage to keep follows."
	return p
}
