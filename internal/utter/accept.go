package utter

import (
	"math"
	"slices"
	"strings"

	"belay/internal/session"
	"belay/internal/units"
)

// accept takes a value that fits one field, unless what is known says that it
// may be meant otherwise.
func (r *reader) accept(a *amount, f session.Field, v float64, from string) {
	switch {
	case f.Readback && a.hedged:
		r.ask(Inexact, from, nil, f.Name)
	case f.Name == "load_voltage_v" && r.scene.Trial && r.isSet(v) && !(a.hasName && len(a.named) == 1 && saysLoad(a.name)):
		r.ask(InForce, from, nil, f.Name)
	case f.Unit == "MT/s" && r.isHalfRate(v):
		double := 2 * v
		r.ask(TwoWays, from, &double, f.Name)
	case f.Name == "offset_v" && a.unit == "" && !r.tokens[a.at].signed && !strings.Contains(r.tokens[a.at].raw, "."):
		r.ask(Unclear, from, nil, f.Name)
	default:
		r.take(f.Name, v, from)
	}
}

func saysLoad(name string) bool {
	return slices.ContainsFunc([]string{"load", "measured", "sensor"}, func(w string) bool { return strings.Contains(name, w) })
}

// isSet reports whether v is the core voltage as it is set or proposed.
func (r *reader) isSet(v float64) bool {
	near := func(x units.Volt) bool { return x > 0 && math.Abs(float64(x)-v) < 0.0005 }
	return near(r.scene.Now.SetVoltage) || near(r.scene.Next.SetVoltage)
}

// isHalfRate reports a memory clock where the data rate is asked for.
func (r *reader) isHalfRate(v float64) bool {
	half := func(rate int) bool { return rate > 0 && math.Abs(2*v-float64(rate)) <= 20 }
	return half(r.scene.Now.DataRate) || half(r.scene.Next.DataRate)
}

// isCondition reports "at 1.255" in a trial: the setting rather than a
// reading.
func (r *reader) isCondition(a *amount) bool {
	if !r.scene.Trial || a.from == 0 {
		return false
	}
	before := r.tokens[a.from-1].text
	c := r.candidates(a)
	return (before == "at" || before == "@") && len(c) > 0 && r.fields[c[0]].Unit == "V"
}

// time gives an unnamed span to the run or to the failure, as the outcome
// says.
func (r *reader) time(a *amount, from string) {
	var spans []string
	for _, f := range r.scene.Fields {
		if f.Kind == "number" && (f.Unit == "min" || f.Unit == "h") {
			spans = append(spans, f.Name)
		}
	}
	_, run := r.fields["minutes"]
	_, failed := r.fields["minutes_to_failure"]
	prev := wordAt(r.tokens, a.from-1)
	switch {
	case !r.plainAround(a), len(spans) == 0, r.outcome == "no_boot":
		r.ask(Unclear, from, nil, spans...)
	case !run && !failed:
		r.choose(a, spans, from)
	case fails[r.outcome] && failed && !(r.outcome == "error" && prev == "in"):
		r.choose(a, []string{"minutes_to_failure"}, from)
	case r.outcome != "" && !fails[r.outcome] && run:
		r.choose(a, []string{"minutes"}, from)
	default:
		r.askFor(TwoFields, from, map[string]float64{"minutes": a.value, "minutes_to_failure": a.value}, spans...)
	}
}
