package loadline

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/units"
)

// A meter that reads 20 mV too low leaves the voltage itself where the set
// voltage and the droop put it.
func TestRealLeavesTheMeterOut(t *testing.T) {
	const r, off = 0.5e-3, -0.020
	var readings []Reading
	for _, p := range []units.Watt{30, 60, 120, 200, 260} {
		v := 1.30 // V = S - R P/V, by its fixed point
		for range 50 {
			v = 1.30 - r*float64(p)/v
		}
		readings = append(readings, Reading{Set: 1.30, Load: units.Volt(v + off), Power: p})
	}
	line, err := Fit(DefaultPrior(), readings)
	require.NoError(t, err)
	shown, ok := line.Shown(1.30, 200)
	require.True(t, ok)
	mid, err := line.LoadAt(1.30, 200, 0.9)
	require.NoError(t, err)
	require.InDelta(t, mid.Mid, float64(shown), 1e-9)
	real, err := line.Real(1.30, 200, 0.9)
	require.NoError(t, err)
	v := 1.30
	for range 50 {
		v = 1.30 - r*200/v
	}
	require.GreaterOrEqual(t, real.High, v)
	require.InDelta(t, v, real.Mid, 0.012)
	require.InDelta(t, v+off, float64(shown), 0.003)
	_, ok = line.Shown(3, 200)
	require.False(t, ok)
}
