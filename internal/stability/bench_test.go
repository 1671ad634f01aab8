package stability

import (
	"math/rand/v2"
	"testing"

	"belay/internal/trial"
)

// benchmarkCase is a climb of n trials.
func benchmarkCase(n int) (Prior, []Observation) {
	p := DefaultPrior(47, 1.30)
	rnd := rand.New(rand.NewPCG(40, 1))
	g := drawRig(p, rnd)
	return p, g.history(n, rnd)
}

func benchmarkFit(b *testing.B, n int) {
	p, obs := benchmarkCase(n)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Fit(p, obs); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFit5(b *testing.B)  { benchmarkFit(b, 5) }
func BenchmarkFit40(b *testing.B) { benchmarkFit(b, 40) }
func BenchmarkFit50(b *testing.B) { benchmarkFit(b, 50) }

func benchmarkQuery(b *testing.B, query func(p *Posterior)) {
	prior, obs := benchmarkCase(40)
	p, err := Fit(prior, obs)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		query(p)
	}
}

func BenchmarkNeed(b *testing.B) {
	benchmarkQuery(b, func(p *Posterior) { p.Need(trial.Scalar, 49, 80, 500, 0.9) })
}

func BenchmarkNeedWideVector(b *testing.B) {
	benchmarkQuery(b, func(p *Posterior) { p.Need(trial.WideVector, 49, 80, 500, 0.9) })
}

func BenchmarkNeedBand(b *testing.B) {
	benchmarkQuery(b, func(p *Posterior) { p.NeedBand(trial.Scalar, 49, 80, 500) })
}

func BenchmarkConfidence(b *testing.B) {
	benchmarkQuery(b, func(p *Posterior) { p.Confidence(trial.Scalar, 49, 1.25, 80, 500) })
}

func BenchmarkPassProbability(b *testing.B) {
	benchmarkQuery(b, func(p *Posterior) { p.PassProbability(trial.Scalar, 49, 1.25, 80, 10) })
}

func BenchmarkWorthOf(b *testing.B) {
	keep := Keep{Load: trial.Scalar, Ratio: 49, LoadVoltage: 1.26, TargetH: 500}
	plan := Observation{Load: trial.Scalar, Ratio: 49, LoadVoltage: 1.23, PlannedMinutes: 10}
	benchmarkQuery(b, func(p *Posterior) { _, _ = p.WorthOf(plan, keep) })
}

func BenchmarkSoakToClaim(b *testing.B) {
	benchmarkQuery(b, func(p *Posterior) {
		p.SoakToClaim(trial.Scalar, 49, p.Need(trial.Scalar, 49, 80, 500, 0.7), 80, 500, 0.72)
	})
}
