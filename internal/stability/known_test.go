package stability

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
	"belay/internal/units"
)

// known is a prior that is certain of everything: a at 1.2 V and mvPerDecade.
func known(mvPerDecade float64) Prior {
	p := DefaultPrior(50, 1.2)
	p.AMean, p.SMedian = 1.2, units.Volt(mvPerDecade/math.Ln10/1000)
	p.ASD, p.BSD, p.CSD, p.SLogSD = 1e-7, 1e-9, 1e-9, 1e-8
	p.Eps = 1e-12
	return p
}

// Width of the unstable band: if failures in one run are Poisson with mean
// 10^(-(V-V0)/s), the run fails with 1-exp(-mean), and from 95 % to 5 % the
// voltage rises by 1.76644 s (computed; a complementary log-log curve).
func TestWidthOfTheUnstableBand(t *testing.T) {
	for _, s := range []float64{10, 15.9, 20} {
		p, err := New(known(s))
		require.NoError(t, err)
		fails := func(mv float64, minutes units.Minutes) float64 {
			return 1 - p.PassProbability(trial.Scalar, 50, volts(1200+mv), 0, minutes)
		}
		at := func(share float64, minutes units.Minutes) float64 { // mV above V0 at which it fails that often
			lo, hi := -100.0, 300.0
			for range 60 {
				if mid := (lo + hi) / 2; fails(mid, minutes) > share {
					lo = mid
				} else {
					hi = mid
				}
			}
			return lo
		}
		require.InDelta(t, 1.76644*s, at(0.05, 10)-at(0.95, 10), 2e-3)
		require.InDelta(t, 2.66107*s, at(0.01, 10)-at(0.99, 10), 2e-3)
		require.InDelta(t, 1.33954*s, at(0.1, 10)-at(0.9, 10), 2e-3)
		for steps, want := range []float64{0.6321206, 0.0951626, 0.0099502, 0.0009995} {
			require.InDelta(t, want, fails(float64(steps)*s, 10), 1e-6)
		}
		require.InDelta(t, s, at(0.5, 100)-at(0.5, 10), 1e-3, "ten times as long")
		require.InDelta(t, 1.6812*s, at(0.5, 480)-at(0.5, 10), 2e-3, "ten minutes to eight hours")
	}
}

// With everything known, the need for H hours lies s ln(6H) above the
// ten-minute need, and the slope is what was put in.
func TestNeedWhenAllIsKnown(t *testing.T) {
	p, err := New(known(14))
	require.NoError(t, err)
	want := 1.2 + 0.014*math.Log10(500*6)
	for _, q := range []float64{0.05, 0.5, 0.95} {
		require.InDelta(t, want, float64(p.Need(trial.Scalar, 50, 0, 500, q)), 2e-5)
	}
	require.InDelta(t, 1, p.Confidence(trial.Scalar, 50, volts(want*1000+0.1), 0, 500), 1e-6)
	require.InDelta(t, 0, p.Confidence(trial.Scalar, 50, volts(want*1000-0.1), 0, 500), 1e-6)
	hot := p.Need(trial.Scalar, 50, 85, 500, 0.5)
	require.InDelta(t, want+0.0002*10, float64(hot), 2e-5, "ten degrees above the reference")
	curve := p.Need(trial.Scalar, 53, 0, 500, 0.5)
	require.InDelta(t, want+3*0.035+9*0.001, float64(curve), 2e-5)
	below := p.Need(trial.Scalar, 48, 0, 500, 0.5)
	require.InDelta(t, want-2*0.035-4*0.001, float64(below), 2e-5)
	_, mid, _ := p.SlopePerDecade()
	require.InDelta(t, 14, mid, 1e-3)
}

// The prior must cover what has been published. Slopes in mV per 100 MHz over
// ten steps: operating-point tables 26 to 52.1 and 19.5 to 45.6, alpha-power
// law 20.0 to 33.4 (Sakurai & Newton, IEEE JSSC 25 (1990) 584), common
// practice 20 to 60. Decade: 10 mV (Das et al., JSSC 2006, memory) to 19.964
// mV (Salami et al., MICRO 2018). Guardband: up to 15 % and more.
func TestDefaultPriorCoversPublishedRanges(t *testing.T) {
	prior := DefaultPrior(47, 1.2)
	require.NoError(t, prior.Validate())
	slope := func(at, sds float64) float64 {
		mean := prior.BMean.Millivolts() + 2*at*prior.CMean.Millivolts()
		sd := math.Hypot(prior.BSD.Millivolts(), 2*at*prior.CSD.Millivolts())
		return mean + sds*sd
	}
	require.Less(t, slope(0, -2), 19.5)
	require.Greater(t, slope(0, 2), 52.1)
	require.Greater(t, slope(3, 2), 60.0)
	p, err := New(prior)
	require.NoError(t, err)
	lo, _, hi := p.SlopePerDecade()
	require.Less(t, lo, 10.0)
	require.Greater(t, hi, 19.964)
	require.Less(t, p.Need(trial.Scalar, 47, 0, 1.0/6, 0.05), units.Volt(1.2*0.85))
	require.Greater(t, p.Need(trial.Scalar, 47, 0, 1.0/6, 0.95), units.Volt(1.2*0.95))
}

// One failure far above all expectation may be odd; three are not. And clean
// trials far below expectation move the estimate, whatever the prior.
func TestFarFromThePrior(t *testing.T) {
	at := func(mv float64) Observation { return obsAt(trial.Scalar, 47, mv, 10).failedAt(2, 3) }
	one := mustFit(t, at(1400))
	require.Less(t, float64(one.Need(trial.Scalar, 47, 0, 1.0/6, 0.5)), 1.25)
	three := mustFit(t, at(1360), at(1380), at(1400))
	require.Greater(t, float64(three.Need(trial.Scalar, 47, 0, 1.0/6, 0.5)), 1.36)
	low := mustFit(t, obsAt(trial.Scalar, 51, 1000, 10), obsAt(trial.Scalar, 51, 990, 10).failedAt(0, 1))
	require.InDelta(t, 0.995, float64(low.Need(trial.Scalar, 51, 0, 1.0/6, 0.5)), 0.012)
}
