package loadline

import (
	"math"
	"math/rand/v2"
	"testing"

	"belay/internal/units"

	"github.com/stretchr/testify/require"
)

// Over simulated boards the stated 90 % intervals hold between 85 % and 95 %
// of the truth: the resistance, the set voltage that gives a wanted load
// voltage, and the next reading. Boards are drawn from the prior, so a fault
// of the fit shows and nothing else; readings carry error in both axes and are
// rounded to the meter's step.
func TestCalibration(t *testing.T) {
	const boards, seed = 1000, 11
	prior := DefaultPrior()
	for _, count := range []int{0, 2, 3, 8} {
		rng := rand.New(rand.NewPCG(seed, uint64(count)))
		look := func(r, off, set, watt float64) Reading {
			x := exact(r, off, set, watt)
			v := float64(x.Load) + prior.Noise.Meter*rng.NormFloat64()
			v = math.Round(v/prior.Noise.Step) * prior.Noise.Step
			return Reading{x.Set, units.Volt(v), units.Watt(watt * (1 + prior.Noise.Power*rng.NormFloat64()))}
		}
		inR, inSet, inLoad := 0, 0, 0
		for range boards {
			r := prior.Resistance + prior.ResistanceSD*rng.NormFloat64()
			off := prior.OffsetSD * rng.NormFloat64()
			var readings []Reading
			for range count {
				readings = append(readings, look(r, off, 1.15+0.2*rng.Float64(), 30+70*rng.Float64()))
			}
			l, err := Fit(prior, readings)
			require.NoError(t, err)
			s, err := l.Summary(0.9)
			require.NoError(t, err)
			inR += within(1000*r, s.Resistance)
			const want, watt = 1.20, 90.0
			set, err := l.SetFor(want, watt*units.Watt(1+prior.Noise.Power*rng.NormFloat64()), 0.9)
			require.NoError(t, err)
			inSet += within(want+r*watt/want-off, set)
			load, err := l.LoadAt(1.30, watt, 0.9)
			require.NoError(t, err)
			inLoad += within(float64(look(r, off, 1.30, watt*(1+prior.Noise.Power*rng.NormFloat64())).Load), load)
		}
		for name, n := range map[string]int{"resistance": inR, "set": inSet, "load": inLoad} {
			share := float64(n) / boards
			t.Logf("%d readings, %s: %.3f", count, name, share)
			require.GreaterOrEqual(t, share, 0.85, "%s, %d readings", name, count)
			require.LessOrEqual(t, share, 0.95, "%s, %d readings", name, count)
		}
	}
}

func within(v float64, i Interval) int {
	if v >= i.Low && v <= i.High {
		return 1
	}
	return 0
}
