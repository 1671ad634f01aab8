package planner

import (
	"belay/internal/stability"
	"belay/internal/trial"
	"belay/internal/units"
)

// Standing is where the evidence stands now.
type Standing struct {
	Present *float64           // confidence that the settings in the firmware meet the target; nil: not enough evidence
	Keep    *trial.Expectation // of the keep under all-core load; nil: too little to go by
	Last    *Step              // nil: the newest trial says nothing about voltage
	Odd     []Odd
}

// Step is what the newest trial changed at its own ratio and load.
type Step struct {
	Trial         int
	Load          trial.Load
	Ratio         units.Ratio
	Before, After stability.Quantiles // need for the target
	// Confidence of the keep before and after; nil: not enough evidence.
	SureBefore, SureAfter *float64
}

// Odd is a failure that voltage hardly explains.
type Odd struct {
	Trial  int
	Chance float64 // that something else caused it
}

// oddFrom is the chance from which a failure counts as odd. Chosen: likelier
// than not.
const oddFrom = 0.5

// Stand says where the evidence stands for a setting to keep.
func Stand(in Input, keep trial.Settings) Standing { return believe(in).stand(in, keep) }

func (b *belief) stand(in Input, keep trial.Settings) Standing {
	s := Standing{
		Present: b.sure(in.Settings, in.Wishes.TargetH),
		Keep:    b.expect(keep, trial.Scalar, 0),
		Odd:     b.odd(in),
	}
	if b.need == nil || len(in.Trials) == 0 {
		return s
	}
	newest := in.Trials[len(in.Trials)-1]
	if !coreLoad(newest.Load) || newest.Settings.Ratio == 0 || newest.Outcome == trial.Stopped {
		return s
	}
	in.Trials = in.Trials[:len(in.Trials)-1]
	before := *b // heat and load line as they are now: only the need is compared
	before.need = nil
	before.fitNeed(in)
	if before.need == nil {
		return s
	}
	at := b.under(newest.Settings, newest.Load)
	s.Last = &Step{
		Trial: newest.N, Load: newest.Load, Ratio: at,
		Before:     before.need.NeedBand(newest.Load, at, 0, in.Wishes.TargetH).Target,
		After:      b.need.NeedBand(newest.Load, at, 0, in.Wishes.TargetH).Target,
		SureBefore: before.sure(keep, in.Wishes.TargetH), SureAfter: b.sure(keep, in.Wishes.TargetH),
	}
	return s
}

// sure is the confidence that a setting meets the target under all-core load;
// nil where the evidence does not carry a claim.
func (b *belief) sure(s trial.Settings, targetH float64) *float64 {
	if b.need == nil || s.Ratio == 0 || s.SetVoltage == 0 || b.need.Thin(trial.Scalar, s.Ratio) {
		return nil
	}
	c := b.confidence(s, trial.Scalar, targetH)
	return &c
}

// odd lists the failures that the posterior hardly expects: with eps the
// chance per trial of an unrelated failure and f that voltage fails it, the
// chance of another cause is eps/(eps + (1-eps) f) by Bayes' rule.
func (b *belief) odd(in Input) []Odd {
	out := []Odd{}
	if b.need == nil {
		return out
	}
	eps := in.priors().Stability.Eps
	for _, t := range in.Trials {
		if !t.Outcome.Failed() || !coreLoad(t.Load) || t.Settings.Ratio == 0 {
			continue
		}
		v := t.Readings.LoadVoltage
		if v == 0 {
			v = units.Volt(b.loadVoltage(t.Settings, t.Load)[1])
		}
		clean := b.need.PassProbability(t.Load, b.under(t.Settings, t.Load), v, t.Readings.CoreTemp, t.PlannedMinutes)
		f := max(0, 1-clean/(1-eps))
		if chance := eps / (eps + (1-eps)*f); chance >= oddFrom {
			out = append(out, Odd{t.N, chance})
		}
	}
	return out
}
