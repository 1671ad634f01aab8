package memtiming

import (
	"fmt"
	"math"

	"belay/internal/fault"
)

// Coverage is what an error-free memory check has shown.
type Coverage struct {
	Passes       float64 // bytes checked over bytes installed
	Share        float64 // share of the memory touched at least once, at most, 0 to 1
	PerByte      float64 // upper bound on errors per byte checked
	PerPass      float64 // upper bound on errors per pass over all memory
	MissedChance float64 // upper bound on the chance that one more pass finds an error, 0 to 1
	Sentence     string
	Warnings     []string
}

// CoverageOf judges a check that found nothing: checked is all bytes checked
// over all passes, installed is the memory, both in bytes. conf is the one-sided
// confidence, 0.5 to 0.9999. The bound on a rate after no event is
// -ln(1-conf)/exposure. It returns an Invalid fault for sizes that are not
// positive.
// Source: zero-failure bound, NIST/SEMATECH e-Handbook 8.4.5.1.
func CoverageOf(checked, installed, conf float64) (Coverage, error) {
	if !(checked > 0 && installed > 0 && checked < 1e20 && installed < 1e16) {
		return Coverage{}, fault.New(fault.Invalid, "The amount checked and the memory size must both be above zero.", "Enter both in GB.")
	}
	if !(conf >= 0.5 && conf <= 0.9999) {
		return Coverage{}, fault.New(fault.Invalid, "The confidence must lie between 0.5 and 0.9999.", "Use 0.95 for most purposes.")
	}
	c := Coverage{Passes: checked / installed}
	c.Share = math.Min(1, c.Passes)
	events := -math.Log1p(-conf)
	c.PerByte = events / checked
	c.PerPass = events / c.Passes
	c.MissedChance = -math.Expm1(-c.PerPass)
	c.Sentence = fmt.Sprintf("%.1f passes without an error show fewer than %.2g errors per pass, with %.0f %% confidence.",
		c.Passes, c.PerPass, 100*conf)
	if c.Passes < 1 {
		c.Warnings = append(c.Warnings, fmt.Sprintf("At most %.0f %% of the memory has been checked. The rest is not known.", 100*c.Share))
	}
	if c.Passes < soundPasses {
		c.Warnings = append(c.Warnings, "Few passes: an error that shows now and then is easily missed.")
	}
	return c, nil
}

// soundPasses is how many passes a check should make before it is trusted.
// Chosen: it bounds the errors per pass near one half.
const soundPasses = 6
