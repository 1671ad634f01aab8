package sheet

import (
	"fmt"

	"gonum.org/v1/gonum/stat/distuv"

	"belay/internal/wording"
)

// staleLevel is how unlikely a count of failures must be under the claim
// before the settings count as stale. Chosen: the usual 5 %.
const staleLevel = 0.05

// tooMany returns the smallest number of failures in so many hours that a
// mean time of targetH between failures makes less likely than staleLevel.
// The count of rare failures is Poisson: NIST/SEMATECH e-Handbook, 8.1.6.1.
func tooMany(hours, targetH float64) int {
	p := distuv.Poisson{Lambda: hours / targetH}
	n := 1
	for 1-p.CDF(float64(n-1)) > staleLevel {
		n++
	}
	return n
}

// checkBack is the card that is filled in over the months after the sheet.
type checkBack struct {
	Look  string   // what to count, and when it is too much
	Dates []string // when to fill in a line
	Tail  string
}

// checkBack tells when to look again and what to look for. The spans of one
// and three months are common practice, no source.
func (d Data) checkBack() checkBack {
	c := checkBack{
		Tail: "That many, or another firmware version: the settings are stale. Go back to stock first. What to check comes next.",
	}
	for _, months := range []int{1, 3, 6} {
		c.Dates = append(c.Dates, d.Made.AddDate(0, months, 0).Format("2 Jan 2006"))
	}
	k := d.Evidence.Keep
	if k == nil || !(k.TargetH > 0) {
		c.Look = "Count resets without a reason, freezes, and errors that the system corrected. Two of them within a month are too many."
		return c
	}
	c.Look = fmt.Sprintf("Count resets without a reason and freezes. The claim is less than one in %s of heavy load. "+
		"Too many are: %s within %s, or %s within %s.", wording.Hours(k.TargetH),
		times(tooMany(k.TargetH/5, k.TargetH)), wording.Hours(k.TargetH/5), times(tooMany(k.TargetH, k.TargetH)), wording.Hours(k.TargetH))
	return c
}

func times(n int) string {
	if n == 1 {
		return "one"
	}
	return fmt.Sprint(n)
}
