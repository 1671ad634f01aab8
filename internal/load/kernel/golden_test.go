package kernel

import (
	"fmt"
	"math"
	"math/big"
	"testing"

	"github.com/stretchr/testify/require"
)

// The digests are recomputed here by Go's own arithmetic, which shares no code
// with the C kernels.
func TestGolden(t *testing.T) {
	for _, shape := range []Shape{Large, Small, Brief} {
		for seed := range Seeds {
			a, b := shape.operands(seed)
			fused, unfused := digest(shape.product(a, b, true)), digest(shape.product(a, b, false))
			t.Logf("%v seed %d: {%#016x, %#016x}", shape, seed, fused, unfused)
			require.Equal(t, fmt.Sprintf("%016x", golden[shape][seed].fused), fmt.Sprintf("%016x", fused))
			require.Equal(t, fmt.Sprintf("%016x", golden[shape][seed].unfused), fmt.Sprintf("%016x", unfused))
		}
	}
}

// A third way, with numbers of any length: each step of the chain is exact and
// then rounded once to 53 bits, as IEEE 754-2008 section 5.4.1 defines a fused
// multiplication and addition.
func TestChainIsThatOfTheStandard(t *testing.T) {
	s := Brief
	a, b := s.operands(0)
	got := s.product(a, b, true)
	for _, e := range [][2]int{{0, 0}, {7, 19}, {23, 23}} {
		sum := 0.0
		for k := range s.K {
			x := new(big.Float).SetPrec(2000).SetFloat64(a[e[0]*s.K+k])
			x.Mul(x, new(big.Float).SetFloat64(b[k*s.N+e[1]]))
			x.Add(x, new(big.Float).SetFloat64(sum))
			sum, _ = x.Float64() // to nearest, ties to even
		}
		require.Equal(t, sum, got[e[0]*s.N+e[1]])
	}
}

func TestOperandsUseTheWholeFraction(t *testing.T) {
	a, b := Large.operands(1)
	var ones [52]int
	for _, x := range append(a, b...) {
		abs := max(x, -x)
		require.True(t, abs >= 0.5 && abs < 2)
		for i := range ones {
			ones[i] += int(math.Float64bits(x) >> i & 1)
		}
	}
	n := len(a) + len(b)
	for i, k := range ones {
		require.InDelta(t, 0.5, float64(k)/float64(n), 0.02, "bit %d", i) // about nine standard deviations
	}
}
