package calc

import (
	"fmt"

	"belay/internal/stability"
)

// Proof asks what hours of running with failures show, without any model of
// voltage. The test was stopped by the clock, not by a failure.
type Proof struct {
	Failures   int      `json:"failures" default:"0" help:"Failures seen in these hours."`
	Hours      float64  `json:"hours" required:"" help:"Hours that the load ran."`
	Confidence float64  `json:"confidence" default:"0.95" help:"One-sided confidence, between 0 and 1."`
	TargetH    *float64 `json:"target_h" help:"Hours between failures that you want to show."`
}

// ProofResult is the bound on the mean time between failures, MTBF.
type ProofResult struct {
	MTBFLowerH  float64  `json:"mtbf_lower_h"`
	RateUpper   float64  `json:"rate_upper_per_h"`
	MTBFPointH  *float64 `json:"mtbf_point_h"`           // null without failures
	HoursNeeded *float64 `json:"hours_needed,omitempty"` // without failure, for the target
	Warnings    []string `json:"warnings"`

	in Proof
}

// Bounds of what can be asked. Hours: some seconds to ten years. Confidence
// and failures: chosen, so that the quantiles stay exact.
const (
	longestH    = 87660
	shortestH   = 0.001
	leastSure   = 0.01
	mostSure    = 0.9999
	mostFailing = 1_000_000
)

// Calculate returns a ProofResult.
func (p Proof) Calculate() (Result, error) {
	var c checks
	c.within("failures", "", float64(p.Failures), 0, mostFailing)
	c.within("hours", "h", p.Hours, shortestH, longestH)
	c.within("confidence", "share", p.Confidence, leastSure, mostSure)
	if p.TargetH != nil {
		c.within("target_h", "h", *p.TargetH, shortestH, longestH)
	}
	if err := c.fault(); err != nil {
		return nil, err
	}
	r := ProofResult{in: p, Warnings: []string{}}
	var err error
	if r.MTBFLowerH, r.RateUpper, r.MTBFPointH, err = stability.ModelFree(p.Failures, p.Hours, p.Confidence); err != nil {
		return nil, err
	}
	if p.Failures == 0 {
		r.Warnings = append(r.Warnings, "Without a failure there is a bound, but no estimate of the mean.")
	}
	if p.TargetH != nil {
		hours, err := stability.HoursNeeded(*p.TargetH, p.Confidence, 0)
		if err != nil {
			return nil, err
		}
		r.HoursNeeded = &hours
	}
	return r, nil
}

// Sentences tells the bound.
func (r ProofResult) Sentences() []string {
	out := []string{
		fmt.Sprintf("%s in %s h show at least %s h between failures, with %s confidence.",
			failures(r.in.Failures), amount("", r.in.Hours), digits(r.MTBFLowerH), share(r.in.Confidence)),
		fmt.Sprintf("So the rate is at most %s failures per hour.", digits(r.RateUpper)),
	}
	if r.MTBFPointH != nil {
		out = append(out, fmt.Sprintf("The failures seen came every %s h on average.", digits(*r.MTBFPointH)))
	}
	if r.HoursNeeded != nil {
		out = append(out, fmt.Sprintf("To show %s h takes %s h without a failure.", amount("", *r.in.TargetH), digits(*r.HoursNeeded)))
	}
	return append(out, r.Warnings...)
}

func failures(n int) string {
	switch n {
	case 0:
		return "No failures"
	case 1:
		return "1 failure"
	}
	return fmt.Sprintf("%d failures", n)
}
