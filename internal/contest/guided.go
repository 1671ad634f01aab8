package contest

import (
	"belay/internal/planner"
	"belay/internal/trial"
)

// mostGuided bounds a search. Chosen: far beyond what the planner allows
// itself, so that reaching it is a mistake of the planner.
const mostGuided = 300

// guided follows the planner's proposals, as the guide does.
func guided(b *bout) verdict {
	for range mostGuided {
		p, e := planner.Next(b.in)
		if e == nil {
			b.run(p.Settings, p.Load, p.Minutes)
			continue
		}
		v := verdict{keep: e.Keep}
		if !e.Blocked {
			v.confidence = planner.Assess(b.in, e.Keep, trial.Scalar).Confidence
		}
		return v
	}
	return verdict{keep: b.base}
}
