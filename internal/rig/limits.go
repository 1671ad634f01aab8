package rig

import (
	"errors"
	"fmt"
	"path"
	"strings"

	"belay/internal/sample"
)

// limits are the processor's power limits as the kernel shows them.
type limits struct {
	sustained, short, rated float64 // W; 0: not told
	from, shortFrom         string
	disabled                bool
	zones                   int
	err                     error
}

// noLimit is the least power that means "no limit", W. Source: the limit
// field is 15 bits of 1/8 W by default, so that 4095 W is its top; from
// memory. Lower bound chosen: twice what any desktop socket carries.
const noLimit = 2000

// readLimits reads the power zones of the processor packages. Where several
// zones limit the same package, the lowest limit holds. Layout: the kernel's
// documentation of the power capping framework.
func (m *Machine) readLimits() limits {
	var l limits
	disabled := 0
	for _, file := range m.glob("sys/class/powercap/*/name") {
		name, err := m.text(file)
		if err != nil || !strings.HasPrefix(name, "package") {
			continue
		}
		l.zones++
		dir := path.Dir(file)
		if on, err := m.text(dir + "/enabled"); err == nil && on == "0" {
			disabled++
			continue
		}
		for _, c := range m.glob(dir + "/constraint_*_name") {
			kind, _ := m.text(c)
			limitFile := strings.TrimSuffix(c, "name") + "power_limit_uw"
			uw, err := m.number(limitFile)
			if err != nil {
				l.err = errors.Join(l.err, err)
				continue
			}
			w := uw / 1e6
			switch {
			case kind == "long_term" && w > 0 && (l.sustained == 0 || w < l.sustained):
				l.sustained, l.from = w, limitFile
				if most, err := m.number(strings.TrimSuffix(c, "name") + "max_power_uw"); err == nil {
					l.rated = most / 1e6
				}
			case kind == "short_term" && w > 0 && (l.short == 0 || w < l.short):
				l.short, l.shortFrom = w, limitFile
			}
		}
	}
	l.disabled = l.zones > 0 && disabled == l.zones
	return l
}

func (l limits) facts() []Fact {
	const byHand = "Read it in the firmware setup, with the power limits."
	return []Fact{
		have("sustained_limit_w", "Sustained power limit", l.sustained, "W", l.from, byHand),
		have("short_limit_w", "Short power limit", l.short, "W", l.shortFrom, byHand),
		have("rated_power_w", "Rated power", l.rated, "W", l.from, "Look into the processor's data sheet."),
	}
}

// verdict tells whether a sustained power cap is in force.
func (l limits) verdict() Verdict {
	switch {
	case l.disabled:
		return Verdict{No, "The kernel shows the power limit as switched off.", ""}
	case l.sustained >= noLimit:
		return Verdict{No, fmt.Sprintf("The limit is set to %.0f W, which no processor here reaches.", l.sustained), ""}
	case l.sustained > 0:
		return Verdict{Yes, fmt.Sprintf("A sustained limit of %.0f W is set. A trial shows whether it slows the cores down.", l.sustained), ""}
	}
	because := "The system shows no power limit of the processor."
	if l.err != nil {
		because = "The power limit: " + lowerFirst(why(l.err))
	}
	return Verdict{Unknown, because, "Read the sustained power limit in the firmware setup. Under load, a clock below the set one at a steady power shows a cap."}
}

// CapAfter is the verdict after a trial whose readings were reduced with the
// report's sustained limit.
func CapAfter(before Verdict, r sample.Reduced) Verdict {
	switch {
	case r.AtCap:
		return Verdict{Yes, fmt.Sprintf("The power stayed at %.0f W while the clock was down.", float64(r.PackagePower)), ""}
	case before.Answer == Yes && r.ClockState == sample.Held:
		return Verdict{No, "The clock held, so that the limit that is set did not slow this load down.", ""}
	}
	return before
}
