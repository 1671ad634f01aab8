package stats

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestMinimum(t *testing.T) {
	require.InDelta(t, math.Sqrt2, Minimum(func(x float64) float64 { return (x*x - 2) * (x*x - 2) }, 0, 4, 1e-9), 1e-6)
	require.InDelta(t, 3, Minimum(math.Sqrt, 3, 9, 1e-9), 1e-8, "at the edge")
}
