package stability

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
	"belay/internal/units"
)

// plain is the likelihood of one observation written out from the definition,
// sharing no code with the package.
func plain(o Observation, needMV, s, eps float64) float64 {
	lam := 0.1 * math.Exp((needMV-float64(o.LoadVoltage)*1000)/s)
	t, t1, t2 := float64(o.PlannedMinutes), float64(o.FailedFrom), float64(o.FailedTo)
	switch {
	case o.Kind == Clean:
		return math.Exp(-lam * t)
	case t1 == t2:
		return (1-eps)*lam*math.Exp(-lam*t1) + eps/t
	case o.AtOnce:
		return (1-eps)*(math.Exp(-lam*t1)-math.Exp(-lam*t2)) + eps
	}
	return (1-eps)*(math.Exp(-lam*t1)-math.Exp(-lam*t2)) + eps*(t2-t1)/t
}

func obsAt(load trial.Load, r units.Ratio, mv float64, minutes units.Minutes) Observation {
	return Observation{Load: load, Ratio: r, LoadVoltage: units.Volt(mv / 1000), PlannedMinutes: minutes, Kind: Clean}
}

func (o Observation) failedAt(from, to units.Minutes) Observation {
	o.Kind, o.FailedFrom, o.FailedTo = Failed, from, to
	return o
}

// mixedTrials has every kind of evidence at the reference ratio.
var mixedTrials = []Observation{
	obsAt(trial.Scalar, 50, 1090, 10).failedAt(0, 1),
	obsAt(trial.Scalar, 50, 1125, 10),
	obsAt(trial.Scalar, 50, 1110, 30).failedAt(12.5, 12.5),
	obsAt(trial.Scalar, 50, 1118, 30).failedAt(0, 30),
	obsAt(trial.Scalar, 50, 1131, 60),
	obsAt(trial.Scalar, 50, 1104, 10).failedAt(2, 4),
}

// A fixed slope and one unknown, as in the published background of Bayesian
// thresholds (Watson & Pelli, Percept. Psychophys. 33 (1983) 113), on a grid of
// 0.1 mV.
func TestAgainstSmallGridWithFixedSlope(t *testing.T) {
	prior := DefaultPrior(50, 1.25)
	prior.BSD, prior.CSD, prior.SLogSD = 1e-9, 1e-9, 1e-8
	p, err := Fit(prior, mixedTrials)
	require.NoError(t, err)
	var sum, m1, m2 float64
	var grid [6000]float64
	at := func(i int) float64 { return 900 + 0.1*float64(i) }
	for i := range grid {
		z := (at(i) - 1125) / 62.5
		grid[i] = math.Exp(-z * z / 2)
		for _, o := range mixedTrials {
			grid[i] *= plain(o, at(i), 6.14, prior.Eps)
		}
		sum += grid[i]
		m1 += grid[i] * at(i)
		m2 += grid[i] * at(i) * at(i)
	}
	mean := m1 / sum
	sd := math.Sqrt(m2/sum - mean*mean)
	q := p.line(trial.Scalar, 50, 0, 1.0/6)
	gotMean, gotVar := q.spread()
	require.InDelta(t, mean, gotMean, 0.05)
	require.InDelta(t, sd, math.Sqrt(gotVar), 0.03*sd)
	run := 0.0
	pass := 0.0
	for i, w := range grid {
		run += w / sum
		if i%100 == 0 {
			got := p.Confidence(trial.Scalar, 50, volts(at(i)+0.05), 0, 1.0/6)
			require.InDelta(t, run, got, 0.01, "%v mV", at(i))
		}
		pass += w / sum * math.Exp(-1*math.Exp((at(i)-1122)/6.14))
	}
	require.InDelta(t, 0.99*pass, p.PassProbability(trial.Scalar, 50, 1.122, 0, 10), 0.005)
}

// Three unknowns (a, b, s) at two ratios, against a dense sum.
func TestAgainstDenseSum(t *testing.T) {
	prior := DefaultPrior(50, 1.25)
	prior.CSD = 1e-9
	obs := append([]Observation{
		obsAt(trial.Scalar, 52, 1195, 10),
		obsAt(trial.Scalar, 52, 1180, 10).failedAt(3.5, 3.5),
	}, mixedTrials...)
	p, err := Fit(prior, obs)
	require.NoError(t, err)
	type probe struct{ d, h, u, mv, below float64 }
	var probes []probe
	for _, d := range []float64{0, 2, 3} {
		for _, h := range []float64{1.0 / 6, 500} {
			for _, u := range []float64{0.05, 0.25, 0.5, 0.75, 0.95} {
				need := p.Need(trial.Scalar, 50+units.Ratio(d), 0, h, u)
				probes = append(probes, probe{d, h, u, need.Millivolts(), 0})
			}
		}
	}
	sum := 0.0
	for a := 1060.0; a < 1180; a++ {
		for b := -10.0; b < 80; b++ {
			for u := -1.4; u <= 1.4; u += 0.1 {
				s := 6.14 * math.Exp(u)
				za, zb, zu := (a-1125)/62.5, (b-35)/12, u/0.22
				w := math.Exp(-(za*za + zb*zb + zu*zu) / 2)
				for _, o := range obs {
					do := float64(o.Ratio - 50)
					w *= plain(o, a+b*do+do*do, s, prior.Eps)
				}
				sum += w
				for i := range probes {
					q := &probes[i]
					need := a + b*q.d + q.d*q.d + s*math.Log(6*q.h)
					q.below += w * math.Min(math.Max(q.mv-need+0.5, 0), 1)
				}
			}
		}
	}
	for _, q := range probes {
		require.InDelta(t, q.u, q.below/sum, 0.02, "%+v", q)
	}
}

// The offset of a load class, with a fixed slope: a and the offset summed
// densely, and evidence shared both ways.
func TestOffsetAgainstDenseSum(t *testing.T) {
	prior := DefaultPrior(50, 1.25)
	prior.BSD, prior.CSD, prior.SLogSD = 1e-9, 1e-9, 1e-8
	obs := append([]Observation{
		obsAt(trial.WideVector, 50, 1140, 10),
		obsAt(trial.WideVector, 50, 1128, 10).failedAt(3.5, 3.5),
		obsAt(trial.Mixed, 50, 1119, 10).failedAt(8.5, 8.5),
	}, mixedTrials[:3]...)
	p, err := Fit(prior, obs)
	require.NoError(t, err)
	joint := func(a, wide, mix float64) float64 {
		za, zw, zm := (a-1125)/62.5, (wide-15)/15, (mix-5)/12
		w := math.Exp(-(za*za + zw*zw + zm*zm) / 2)
		for _, o := range obs {
			need := map[trial.Load]float64{trial.Scalar: a, trial.WideVector: a + wide, trial.Mixed: a + mix}[o.Load]
			w *= plain(o, need, 6.14, prior.Eps)
		}
		return w
	}
	for _, load := range []trial.Load{trial.Scalar, trial.WideVector, trial.Mixed, trial.Bursty} {
		want, sum := 0.0, 0.0
		mv := p.Need(load, 50, 0, 1.0/6, 0.8).Millivolts()
		for a := 1075.0; a < 1170; a++ {
			for wide := -35.0; wide < 65; wide += 2 {
				for mix := -40.0; mix < 50; mix += 2 {
					w := joint(a, wide, mix)
					need := a
					switch load {
					case trial.WideVector:
						need += wide
					case trial.Mixed:
						need += mix
					}
					sum += w
					if load == trial.Bursty { // its own offset: normal, 20 mV
						want += w * 0.5 * math.Erfc((need-mv)/20/math.Sqrt2)
					} else {
						want += w * math.Min(math.Max((mv-need)/2+0.5, 0), 1)
					}
				}
			}
		}
		require.InDelta(t, 0.8, want/sum, 0.015, string(load))
	}
}

// The fast exponential and the fast likelihood agree with the plain ones, and
// the derivatives with differences.
func TestLikelihoodForms(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 5))
	for range 2000 {
		y := 44.9 * rnd.Float64()
		require.InEpsilon(t, math.Exp(-y), decay(y), 1e-8)
	}
	require.Zero(t, decay(math.Inf(1)))
	prior := DefaultPrior(50, 1.25)
	for _, o := range mixedTrials {
		r := prior.reading(o)
		for need := 1060.0; need < 1200; need += 3 {
			eta := math.Log(0.1) + (need-r.v)/6.14
			want := plain(o, need, 6.14, prior.Eps)
			if r.exact {
				want *= r.t2
			}
			got := r.at(eta, prior.Eps)
			require.InDelta(t, math.Log(want), got.l, 1e-9*math.Abs(math.Log(want))+1e-9)
			if r.failed {
				require.InEpsilon(t, want, r.likelihood(math.Exp(eta), 1-prior.Eps), 1e-6)
			}
			const h = 1e-4
			up, down := r.at(eta+h, prior.Eps), r.at(eta-h, prior.Eps)
			require.InDelta(t, (up.l-down.l)/(2*h), got.l1, 1e-4*(1+math.Abs(got.l1)))
			require.InDelta(t, (up.l1-down.l1)/(2*h), got.l2, 1e-4*(1+math.Abs(got.l2)))
		}
	}
}
