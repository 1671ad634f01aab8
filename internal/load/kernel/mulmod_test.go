//go:build cgo && (amd64 || arm64 || ppc64le || riscv64 || loong64)

package kernel

import (
	"math/big"
	"testing"

	"github.com/stretchr/testify/require"
)

const (
	prime  = 1<<64 - 1<<32 + 1
	points = 1024
)

// convolutionAt computes coefficient i of the product of two polynomials.
func convolutionAt(a, b []uint64, i int) uint64 {
	sum := new(big.Int)
	for k := max(0, i-len(b)+1); k <= min(i, len(a)-1); k++ {
		sum.Add(sum, new(big.Int).Mul(new(big.Int).SetUint64(a[k]), new(big.Int).SetUint64(b[i-k])))
	}
	return sum.Mod(sum, new(big.Int).SetUint64(prime)).Uint64()
}

func TestMultiplicationModuloThePrime(t *testing.T) {
	p := new(big.Int).SetUint64(prime)
	require.True(t, p.ProbablyPrime(20))
	edges := []uint64{0, 1, 2, 1<<32 - 1, 1 << 32, 1<<32 + 1, 1 << 63, prime - 1, prime, prime + 1, 1<<64 - 2, 1<<64 - 1}
	for i := range uint64(2000) {
		edges = append(edges[:12], mix(i), mix(i+1<<32))
		for _, x := range edges {
			y := edges[i%14]
			want := new(big.Int).Mul(new(big.Int).SetUint64(x), new(big.Int).SetUint64(y))
			require.Equal(t, want.Mod(want, p).Uint64(), mulmod(x, y), "%x times %x", x, y)
		}
	}
}
