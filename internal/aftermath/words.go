package aftermath

import (
	"fmt"
	"math"
	"time"

	"belay/internal/units"
)

// headline is what happened, as a sentence for each cause.
var headline = map[Cause]string{
	BelayClosed:   "Belay was closed %s. The PC itself ran on, so this trial says nothing about the settings.",
	BelayDied:     "Belay stopped %s, and the PC ran on. Say whether you ended it, or whether it ended by itself.",
	Restarted:     "The PC was shut down or restarted in an orderly way %s. This trial says nothing about the settings.",
	StoppedItself: "The operating system stopped itself with an error %s.",
	Hardware:      "The processor or the memory reported an error that could not be corrected %s.",
	Froze:         "The PC froze %s.",
	TooHot:        "The PC switched itself off %s, and it was close to its temperature limit.",
	Reset:         "The PC restarted by itself %s.",
	FrozeOrPower:  "The PC froze or lost power %s. If the power went out, say that it was stopped.",
	Unknown:       "The PC went down %s. Belay cannot tell how: say what you saw.",
}

func says(v Verdict, f Facts) string {
	when := "during this trial"
	if f.Mark != NoMark {
		when = "about " + span(f.Ran) + " into this trial"
	}
	s := fmt.Sprintf(headline[v.Cause], when)
	if v.Certainty == Likely && v.Cause != BelayDied {
		s += " That is likely, not certain."
	}
	return s
}

// evidence lists what the verdict rests on.
func (f Facts) evidence() []string {
	var out []string
	switch {
	case !f.BootKnown:
		out = append(out, "This system does not tell whether it restarted since the trial began.")
	case f.SameBoot:
		out = append(out, "The operating system has not restarted since the trial began.")
	default:
		out = append(out, "The operating system has restarted since the trial began.")
	}
	switch f.Mark {
	case Alive:
		out = append(out, "The last sign of life came "+span(f.Ran)+" into the trial.")
	case Ended:
		out = append(out, "The last sign of life says that the trial had ended.")
	case Closed:
		out = append(out, "The last sign of life says that Belay closed in an orderly way.")
	default:
		out = append(out, "No sign of life of this trial is left.")
	}
	for _, s := range f.Signs {
		out = append(out, s.Detail)
	}
	if f.hot() {
		out = append(out, "The last temperature was "+f.Temp.String()+", close to the limit of "+f.Limit.String()+".")
	}
	if f.OffKnown && f.Mark != NoMark && !f.SameBoot {
		line := "From the last sign of life to the next start passed " + span(f.Off) + "."
		switch {
		case f.Usual <= 0:
			line += " How long a planned restart takes is not known yet."
		case f.MemoryChanged:
			line += " Memory settings changed, so a restart may take longer than usual."
		default:
			line += " A planned restart takes " + span(f.Usual) + "."
		}
		out = append(out, line)
	}
	return out
}

// span writes a duration as minutes and seconds.
func span(d time.Duration) string {
	s := int(math.Round(d.Seconds()))
	switch {
	case s < 60:
		return fmt.Sprintf("%d s", s)
	case s < 3600:
		return fmt.Sprintf("%d min %d s", s/60, s%60)
	}
	return units.Minutes(float64(s) / 60).String()
}
