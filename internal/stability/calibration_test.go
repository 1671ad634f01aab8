package stability

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
	"belay/internal/units"
)

// Over histories drawn from the prior, the place of the true need within its
// posterior is uniform (simulation-based calibration: Talts et al., 2018,
// arXiv 1804.06788), and the intervals cover at their nominal share.
func TestCalibration(t *testing.T) {
	const histories, bins = 2000, 20
	prior := DefaultPrior(47, 1.30)
	questions := []struct {
		load    trial.Load
		ratio   units.Ratio
		targetH float64
	}{
		{trial.Scalar, 49, 500},
		{trial.Scalar, 47, 1.0 / 6},
		{trial.WideVector, 49, 500},
		{trial.Memory, 51, 500},
	}
	places := make([][]float64, len(questions))
	rnd := rand.New(rand.NewPCG(2024, 11))
	for range histories {
		g := drawRig(prior, rnd)
		p, err := Fit(prior, g.history(2+rnd.IntN(29), rnd))
		require.NoError(t, err)
		for i, q := range questions {
			truth := g.need(q.load, q.ratio, prior.TRef, efolds(q.targetH))
			places[i] = append(places[i], p.Confidence(q.load, q.ratio, volts(truth), 0, q.targetH))
		}
	}
	for i, q := range questions {
		for _, nominal := range []float64{0.5, 0.8, 0.9, 0.95} {
			inside := 0
			for _, u := range places[i] {
				if math.Abs(2*u-1) < nominal {
					inside++
				}
			}
			cover := float64(inside) / histories
			t.Logf("%v: %.0f %% interval covers %.1f %%", q, nominal*100, cover*100)
			require.InDelta(t, nominal, cover, 0.02, "%v", q)
		}
		var count [bins]float64
		for _, u := range places[i] {
			count[min(int(u*bins), bins-1)]++
		}
		chi := 0.0
		for _, c := range count {
			e := float64(histories) / bins
			chi += (c - e) * (c - e) / e
		}
		t.Logf("%v: chi-square %.1f with %d degrees of freedom", q, chi, bins-1)
		require.Less(t, chi, 43.82, "99.9 %% point of chi-square with 19 degrees of freedom")
	}
}

// The planner's answers about passing are right as often as they say.
func TestPassProbabilityIsCalibrated(t *testing.T) {
	prior := DefaultPrior(47, 1.30)
	rnd := rand.New(rand.NewPCG(77, 3))
	var said, passed, trials [5]float64
	for range 1500 {
		g := drawRig(prior, rnd)
		p, err := Fit(prior, g.history(1+rnd.IntN(15), rnd))
		require.NoError(t, err)
		r := prior.RRef + units.Ratio(rnd.IntN(4))
		v := p.Need(trial.Scalar, r, 0, 1.0/6, 0.02+0.96*rnd.Float64())
		share := p.PassProbability(trial.Scalar, r, v, 0, 10)
		i := min(int(share*5), 4)
		said[i] += share
		trials[i]++
		if g.run(Observation{Load: trial.Scalar, Ratio: r, LoadVoltage: v, PlannedMinutes: 10}, rnd).Kind == Clean {
			passed[i]++
		}
	}
	for i, n := range trials {
		require.Greater(t, n, 50.0)
		mean := said[i] / n
		require.InDelta(t, mean, passed[i]/n, 3.3*math.Sqrt(mean*(1-mean)/n)+0.01, "bin %d of %v trials", i, n)
	}
}
