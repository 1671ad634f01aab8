package kernel

import (
	"encoding/binary"
	"hash/fnv"
	"math"
)

// Shape is the size of a product C = A B: A has M rows and K columns, C has N
// columns.
type Shape struct{ M, N, K int }

// Flops returns the floating-point operations of one product.
func (s Shape) Flops() float64 { return 2 * float64(s.M) * float64(s.N) * float64(s.K) }

// Bytes returns the memory of the operands and the known result.
func (s Shape) Bytes() int64 { return 8 * int64(s.M*s.K+s.K*s.N+s.M*s.N) }

// The shapes. Each is a multiple of all tiles. Chosen: the first fills half of
// a 1 MiB second-level cache, the second fits one of 256 KiB, and the third
// takes microseconds, so that bursts end on time.
var (
	Large = Shape{96, 96, 256}
	Small = Shape{48, 48, 128}
	Brief = Shape{24, 24, 64}
)

// Steady returns the shape for long work in a second-level cache of this many
// bytes; 0 is unknown.
func Steady(level2 int64) Shape {
	if 2*Large.Bytes() <= level2 {
		return Large
	}
	return Small
}

// Seeds is how many sets of operands there are, numbered from 0.
const Seeds = 4

// mix is splitmix64 (Steele, Lea and Flood, OOPSLA 2014).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// operand returns number i of a seed: either sign, size 0.5 to 2, all 52 bits
// of the fraction random. Sums of K products stay normal numbers.
func operand(seed, i int) float64 {
	x := mix(uint64(1000+seed)<<32 + uint64(i))
	return math.Float64frombits(x&(1<<63) | (1022+x>>62&1)<<52 | x&(1<<52-1))
}

// operands returns A and B by rows.
func (s Shape) operands(seed int) (a, b []float64) {
	a, b = make([]float64, s.M*s.K), make([]float64, s.K*s.N)
	for i := range a {
		a[i] = operand(seed, i)
	}
	for i := range b {
		b[i] = operand(seed, len(a)+i)
	}
	return a, b
}

// product computes C by rows as the kernels do: each element is one chain over
// k, from zero upwards. Fused chains round once per step, others twice.
func (s Shape) product(a, b []float64, fused bool) []float64 {
	c := make([]float64, s.M*s.N)
	for i := range s.M {
		for k := range s.K {
			x, row, out := a[i*s.K+k], b[k*s.N:(k+1)*s.N], c[i*s.N:(i+1)*s.N]
			if fused {
				for j, y := range row {
					out[j] = math.FMA(x, y, out[j])
				}
			} else {
				for j, y := range row {
					out[j] += float64(x * y) // the conversion forbids fusing
				}
			}
		}
	}
	return c
}

// digest is the FNV-1a hash of the bits of the numbers, low byte first.
func digest(v []float64) uint64 {
	h := fnv.New64a()
	var word [8]byte
	for _, x := range v {
		binary.LittleEndian.PutUint64(word[:], math.Float64bits(x))
		_, _ = h.Write(word[:]) // never fails
	}
	return h.Sum64()
}
