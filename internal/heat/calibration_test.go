package heat

import (
	"math"
	"math/rand/v2"
	"testing"

	"belay/internal/trial"
	"belay/internal/units"

	"github.com/stretchr/testify/require"
)

// virtual is a simulated machine with true constants and noisy sensors.
type virtual struct {
	truth constants
	noise Noise
	rng   *rand.Rand
}

func (v *virtual) run(d drive, load trial.Load) Observation {
	s := v.truth.settle(d, math.Exp(v.noise.Scatter*v.rng.NormFloat64()))
	return Observation{
		Load: load, Clock: units.Megahertz(d.clock), AirTemp: units.Celsius(d.air), Minutes: units.Minutes(d.minutes),
		Voltage:  units.Volt(d.volt + v.noise.Voltage*v.rng.NormFloat64()),
		CoreTemp: units.Celsius(math.Min(topTemp, s.temp+v.noise.Temp*v.rng.NormFloat64())),
		Power:    units.Watt(s.power * math.Exp(v.noise.Power*v.rng.NormFloat64())),
	}
}

// Over simulated machines the stated 90 % intervals hold between 85 % and 95 %
// of the readings that then come, with no run seen and with a few; the truth
// is drawn from the prior, so a fault of the fit shows and nothing else.
func TestCalibration(t *testing.T) {
	const rigs, seed = 600, 42
	prior := PriorFor(10)
	p := newProblem(prior, nil)
	for _, runs := range []int{0, 1, 3, 8} {
		rng := rand.New(rand.NewPCG(seed, uint64(runs)))
		inTemp, inPower, inHold, total := 0, 0, 0, 0
		for total < rigs {
			var theta vector
			for i := range theta {
				theta[i] = p.mean[i] + rng.NormFloat64()/math.Sqrt(p.precision[i])
			}
			v := virtual{theta.constants(), prior.Noise, rng}
			var obs []Observation
			for k := range runs {
				load := trial.Loads[k%2] // scalar and wide-vector
				d := drive{
					volt: 0.95 + 0.02*float64(k), clock: 3600 + 100*float64(k), air: 22 + 3*rng.Float64(),
					minutes: 2 + 8*rng.Float64(), factor: factorOf(load),
				}
				if v.truth.settle(d, 1).runaway {
					break // there is nothing to read
				}
				obs = append(obs, v.run(d, load))
			}
			next := drive{volt: 1.00, clock: 4000, air: 25, minutes: 10, factor: -1}
			total++
			got := v.run(next, trial.Scalar)
			m := Fit(prior, obs)
			want, err := m.Predict(Point{Load: trial.Scalar, Voltage: 1.00, Clock: 4000, AirTemp: 25, Minutes: 10}, 0.9)
			require.NoError(t, err)
			inTemp += within(float64(got.CoreTemp), want.Temp)
			inPower += within(float64(got.Power), want.Power)
			h, err := m.Hold(95, 25, 0.9)
			require.NoError(t, err)
			inHold += within((95-25)/v.truth.resistance, h.Power)
		}
		share := func(n int) float64 { return float64(n) / rigs }
		t.Logf("%d runs: temperature %.3f, power %.3f, held power %.3f", runs, share(inTemp), share(inPower), share(inHold))
		for _, n := range []int{inTemp, inPower, inHold} {
			require.GreaterOrEqual(t, share(n), 0.85, "%d runs", runs)
			require.LessOrEqual(t, share(n), 0.95, "%d runs", runs)
		}
	}
}

func within(v float64, i Interval) int {
	if v >= i.Low && v <= i.High {
		return 1
	}
	return 0
}

// A prior that claims too much is found out: the same check fails for it.
func TestCalibrationSeesFalseConfidence(t *testing.T) {
	prior := PriorFor(10)
	rng := rand.New(rand.NewPCG(5, 5))
	bold := prior
	bold.Resistance.Spread, bold.Power.Spread = 0.05, 0.05
	m := Fit(bold, nil)
	p := newProblem(prior, nil)
	h, err := m.Hold(95, 25, 0.9)
	require.NoError(t, err)
	in := 0
	for range 200 {
		r := math.Exp(p.mean[iResistance] + rng.NormFloat64()/math.Sqrt(p.precision[iResistance]))
		in += within(70/r, h.Power)
	}
	require.Less(t, in, 100)
}
