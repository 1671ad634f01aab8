package stability

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
)

// The draws give back the quantiles and the chance of passing that the grid
// itself gives.
func TestDrawsStandForThePosterior(t *testing.T) {
	prior := DefaultPrior(48, 1.25)
	p, err := Fit(prior, []Observation{
		{Load: trial.Scalar, Ratio: 48, LoadVoltage: 1.15, CoreTemp: 70, PlannedMinutes: 8, Kind: Clean},
		{Load: trial.Scalar, Ratio: 50, LoadVoltage: 1.17, CoreTemp: 72, PlannedMinutes: 8, Kind: Failed, FailedFrom: 3, FailedTo: 3},
		{Load: trial.Scalar, Ratio: 50, LoadVoltage: 1.20, CoreTemp: 74, PlannedMinutes: 8, Kind: Clean},
	})
	require.NoError(t, err)
	draws := p.Draws(trial.Scalar, 2000)
	require.Len(t, draws, 2000)
	e := Efolds(500)
	needs := make([]float64, len(draws))
	passes := 0.0
	for i, d := range draws {
		needs[i] = d.Need(&prior, 50, 75, e)
		passes += math.Exp(-8 * d.Hazard(d.Need(&prior, 50, 75, 0), 1190))
	}
	slices.Sort(needs)
	for _, q := range []float64{0.1, 0.5, 0.9} {
		require.InDelta(t, p.Need(trial.Scalar, 50, 75, 500, q).Millivolts(), needs[int(q*2000)], 2)
	}
	require.InDelta(t, p.PassProbability(trial.Scalar, 50, 1.190, 75, 8), passes/2000, 0.03)
	require.Equal(t, draws, p.Draws(trial.Scalar, 2000))
}
