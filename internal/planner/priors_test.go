package planner

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/safety"
)

// TestPlatformPriorsAreUsed gives the planner another cooler than the models
// expect: half the thermal resistance carries about twice the power away.
func TestPlatformPriorsAreUsed(t *testing.T) {
	in := Input{Limits: safety.Limits{TempLimit: 95}}
	usual := HeldPower(in)
	require.Positive(t, usual)
	other := in.priors()
	other.Heat.Resistance.Median /= 2
	in.Priors = &other
	require.InEpsilon(t, float64(2*usual), float64(HeldPower(in)), 0.05)
}
