package calc

import (
	"fmt"

	"belay/internal/gain"
)

// Gain asks whether scores after a change are better than those before it.
type Gain struct {
	Before []float64 `json:"before" required:"" placeholder:"SCORE,..." help:"Scores before the change. Higher is better."`
	After  []float64 `json:"after" required:"" placeholder:"SCORE,..." help:"Scores after the change."`
	Paired bool      `json:"paired" default:"false" help:"The runs were taken in turn: first before, first after, and so on."`
}

// GainResult is the ratio of the scores. Interval, degrees of freedom and
// p are null where the scores allow no comparison.
type GainResult struct {
	Ratio    float64     `json:"ratio"`
	Ratio95  *[2]float64 `json:"ratio_95"`
	DF       *float64    `json:"df"`
	P        *float64    `json:"p"`
	Verdict  string      `json:"verdict"`
	Warnings []string    `json:"warnings"`

	found gain.Comparison
}

// Bounds of scores. Chosen: more runs than a weekend holds, and numbers whose
// logarithm means something.
const (
	mostScores             = 1000
	leastScore, largeScore = 1e-9, 1e15
)

// Calculate returns a GainResult.
func (g Gain) Calculate() (Result, error) {
	var c checks
	c.scores("before", g.Before)
	c.scores("after", g.After)
	if g.Paired && len(g.Before) != len(g.After) {
		c.refuse("after", "Pairs need as many scores after as before: %d and %d are given.", len(g.Before), len(g.After))
	}
	if err := c.fault(); err != nil {
		return nil, err
	}
	compare := gain.Compare
	if g.Paired {
		compare = gain.ComparePaired
	}
	found, err := compare(g.Before, g.After, sure)
	if err != nil {
		return nil, err
	}
	r := GainResult{Ratio: found.Ratio, Verdict: string(found.Verdict), Warnings: orNone(found.Warnings), found: found}
	if found.Verdict != gain.Unknown {
		r.Ratio95, r.DF, r.P = &[2]float64{found.Interval.Low, found.Interval.High}, &found.DF, &found.P
	}
	return r, nil
}

func (c *checks) scores(key string, list []float64) {
	if len(list) == 0 || len(list) > mostScores {
		c.refuse(key, "There are %d scores. Give 1 to %d.", len(list), mostScores)
	}
	for i, v := range list {
		c.within(fmt.Sprintf("%s.%d", key, i), "", v, leastScore, largeScore)
	}
}

// Sentences tells the gain.
func (r GainResult) Sentences() []string {
	out := []string{fmt.Sprintf("The ratio of the scores is %.4f.", r.Ratio)}
	if r.Ratio95 != nil {
		out = []string{fmt.Sprintf("The ratio of the scores is %.4f (%.4f to %.4f with 95 %% confidence).", r.Ratio, r.Ratio95[0], r.Ratio95[1])}
	}
	switch r.found.Verdict {
	case gain.Faster:
		out = append(out, fmt.Sprintf("That is faster by %.1f %%.", gain.Percent(r.Ratio)))
	case gain.Slower:
		out = append(out, fmt.Sprintf("That is slower by %.1f %%.", -gain.Percent(r.Ratio)))
	case gain.Same:
		out = append(out, "That is no measurable difference.", r.settle())
	case gain.Unknown:
		out = append(out, "That is not enough evidence for a verdict.")
	}
	return append(out, r.Warnings...)
}

// settle says how many more runs would decide it.
func (r GainResult) settle() string {
	if r.found.TooMany {
		return fmt.Sprintf("To settle it would take more than %d further runs on each side.", gain.MaxMoreRuns)
	}
	return fmt.Sprintf("About %d more on each side would probably settle it.", r.found.MoreRuns)
}
