package heat

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
)

// The likeliest machine lies well inside the interval of all machines.
func TestMiddleLiesInsideThePrediction(t *testing.T) {
	m := Fit(PriorFor(10), []Observation{
		{Load: trial.Scalar, Voltage: 1.18, Clock: 4800, CoreTemp: 76, AirTemp: 23, Power: 192, Minutes: 15},
	})
	for _, at := range []Point{
		{Load: trial.Scalar, Voltage: 1.18, Clock: 4800, AirTemp: 23},
		{Load: trial.Scalar, Voltage: 1.25, Clock: 5000, AirTemp: 23, Minutes: 8},
		{Load: trial.WideVector, Voltage: 1.20, Clock: 4900, AirTemp: 23},
	} {
		p, err := m.Predict(at, 0.5)
		require.NoError(t, err)
		watt, temp, ok := m.Middle(at)
		require.True(t, ok)
		require.InDelta(t, p.Power.Mid, float64(watt), p.Power.High-p.Power.Low)
		require.InDelta(t, p.Temp.Mid, float64(temp), p.Temp.High-p.Temp.Low)
	}
	_, _, ok := m.Middle(Point{Load: trial.Scalar, Voltage: 3, Clock: 4800})
	require.False(t, ok)
	require.Positive(t, float64(m.Tau()))
}
