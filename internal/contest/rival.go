package contest

import (
	"math"

	"belay/internal/safety"
	"belay/internal/trial"
	"belay/internal/units"
)

// How the rivals test. Chosen: ten minutes is the usual length of a short
// test; a rival ends with an hour at what it keeps and goes up by the
// customary step where that fails; voltages are entered to the millivolt.
const (
	testMinutes units.Minutes = 10
	soakMinutes units.Minutes = 60
	soakStep    units.Volt    = 0.010
	grid                      = 0.001 // V
	lowest      units.Volt    = 0.8   // V, below any desktop part under load
)

// outcome is what a go/no-go test says.
type outcome int

const (
	passed  outcome = iota
	failed          // a wrong result, a freeze, a reset or no start
	hot             // slowed down or ended by heat or by the power cap: no way on upwards
	refused         // a limit forbids it; not run
)

// at is the base with this ratio and static voltage.
func (b *bout) at(r units.Ratio, v units.Volt) trial.Settings {
	s := b.base
	s.Ratio, s.SetVoltage, s.VoltageMode = r, v, "static"
	return s
}

// open reports whether no limit forbids the setting. The rule to step back
// after a crash at once is not held against the rivals: raising the voltage is
// their way back, and a trial more for each such crash would only slow them.
func (b *bout) open(r units.Ratio, v units.Volt) bool {
	for _, x := range b.vetoes(b.at(r, v), trial.Scalar) {
		if x.Rule != safety.BackOff {
			return false
		}
	}
	return true
}

// within is the highest voltage up to v that no limit forbids at this ratio;
// 0 if none is left.
func (b *bout) within(r units.Ratio, v units.Volt) units.Volt {
	n := int(math.Round(float64(v) / grid))
	volt := func(i int) units.Volt { return units.Volt(math.Round(float64(i)*grid*1e4) / 1e4) }
	if b.open(r, volt(n)) {
		return volt(n)
	}
	lo := int(math.Round(float64(lowest) / grid))
	if n <= lo || !b.open(r, volt(lo)) {
		return 0
	}
	for hi := n; hi-lo > 1; {
		if mid := (lo + hi) / 2; b.open(r, volt(mid)) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return volt(lo)
}

// test runs the scalar load at the setting, or as near below it in voltage as
// the limits let it, and returns the voltage that was used.
func (b *bout) test(r units.Ratio, v units.Volt, minutes units.Minutes) (units.Volt, outcome) {
	if v = b.within(r, v); v == 0 {
		return 0, refused
	}
	t := b.run(b.at(r, v), trial.Scalar, minutes)
	slow := t.Readings.Clock > 0 && float64(t.Readings.Clock) < 0.99*float64(r)*float64(b.in.Machine.BaseClock)
	switch {
	case t.Outcome.Failed():
		return v, failed
	case t.Outcome.Hot() || slow:
		return v, hot
	}
	return v, passed
}

// rung is a ratio with the voltage that passed there.
type rung struct {
	ratio units.Ratio
	volt  units.Volt
}

// climb goes up one ratio after the other from the start, each time the test
// of so many minutes passes, and raises the voltage by a step where it fails,
// as far as the limits let it. It returns what passed at each ratio.
func (b *bout) climb(minutes units.Minutes, step units.Volt) []rung {
	if b.base.SetVoltage == 0 || b.base.Ratio == 0 {
		return nil
	}
	rungs := []rung{{b.base.Ratio, b.base.SetVoltage}} // the opening ran there
	r, v := b.base.Ratio+1, b.base.SetVoltage
	for b.trials < mostTests {
		if !b.open(r, v) {
			break
		}
		switch _, o := b.test(r, v, minutes); o {
		case passed:
			rungs = append(rungs, rung{r, v})
			r++
		case failed:
			v += step
		default:
			return rungs
		}
	}
	return rungs
}

// mostTests bounds a rival. Chosen: far beyond what any needs.
const mostTests = 400

// asDelivered is the verdict where there was nothing to climb from.
func (b *bout) asDelivered() verdict { return verdict{keep: b.base} }

// locator finds the voltage to keep at a ratio, from a voltage that passed
// there. False: the limits do not allow it.
type locator func(b *bout, at rung) (keep units.Volt, ok bool)

// finder makes a strategy of a locator: climb in short tests and large steps,
// locate the voltage at the top, go back a ratio as long as it is out of
// bounds, then soak.
func finder(locate locator, confidence *float64) func(*bout) verdict {
	return func(b *bout) verdict {
		rungs := b.climb(testMinutes, b.in.Limits.VoltStep)
		for i := len(rungs) - 1; i >= 0; i-- {
			keep, ok := locate(b, rungs[i])
			if !ok {
				continue
			}
			if v, ok := b.soak(rungs[i].ratio, keep, soakMinutes); ok {
				return verdict{b.at(rungs[i].ratio, v), confidence}
			}
		}
		return b.asDelivered()
	}
}

// soak runs at the keep, and at a step more each time it fails, until it
// passes. False: the limits end it first.
func (b *bout) soak(r units.Ratio, v units.Volt, minutes units.Minutes) (units.Volt, bool) {
	for b.trials < mostTests {
		used, o := b.test(r, v, minutes)
		if o == passed {
			return used, true
		}
		if o != failed || !b.open(r, v+soakStep) {
			break
		}
		v += soakStep
	}
	return v, false
}

// reach steps up to a voltage in trials of one step each, and reports whether
// the limits let it get there.
func (b *bout) reach(r units.Ratio, v units.Volt) bool {
	for b.trials < mostTests {
		_, top := safety.Held(b.in.Trials)
		if v <= top+b.in.Limits.VoltStep || !b.open(r, top+b.in.Limits.VoltStep) {
			return b.open(r, v)
		}
		if _, o := b.test(r, top+b.in.Limits.VoltStep, testMinutes); o == hot || o == refused {
			return false
		}
	}
	return false
}
