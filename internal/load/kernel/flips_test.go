//go:build cgo && (amd64 || arm64 || ppc64le || riscv64 || loong64)

package kernel

import (
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// flipsEnv sets how many bits each test flips in each place.
const flipsEnv = "BELAY_FLIPS"

func flipCount(t *testing.T) int {
	n, err := strconv.Atoi(os.Getenv(flipsEnv))
	if err != nil {
		n = 400 // 2,000 in each kernel of five places
	}
	t.Logf("%d flips in each place; %s sets another number", n, flipsEnv)
	return n
}

// strike runs one unit on each of two cores' kernels, one of them disturbed,
// and tells what each found.
func strike(struck int, kernels [2]Kernel, f Fault, stop *Stop) (wrong [2]*Wrong) {
	kernels[struck].Flip(f)
	for i, k := range kernels {
		_, wrong[i] = once(k, stop)
	}
	return wrong
}

// Products. Whether a flip changes the result at all is computed here in Go:
// the chain of the element, or of its row or column, with the flip in it.
func TestEveryFlipThatChangesAProductIsFound(t *testing.T) {
	stop, n := newStop(t), flipCount(t)
	names := map[uint32]string{FlipSum: "sum", FlipUse: "one use of A", FlipLeft: "stored A", FlipRight: "stored B", FlipKnown: "stored result"}
	for _, width := range Widths() {
		var products [2]*Product
		for i := range products {
			p, err := NewProduct(width, Brief, i)
			require.NoError(t, err)
			defer p.Close()
			products[i] = p
		}
		r := rand.New(rand.NewPCG(5, uint64(width)))
		for site := uint32(FlipSum); site <= FlipKnown; site++ {
			changed := 0
			for range n {
				core := r.IntN(2)
				p := products[core]
				f := Fault{Site: site, Bit: uint32(r.IntN(64)), Index: r.Uint64() % uint64(p.elements(site)), Step: r.Uint64() % uint64(p.shape.K)}
				want := p.changes(f)
				wrong := strike(core, [2]Kernel{products[0], products[1]}, f, stop)
				require.Equal(t, want, wrong[core] != nil, "width %d, %s: %+v", width, names[site], f)
				require.Nil(t, wrong[1-core], "the other core did nothing wrong")
				if !want {
					continue
				}
				changed++
				cause := Stored
				if site == FlipSum || site == FlipUse {
					cause = Transient
				}
				require.Equal(t, cause, wrong[core].Cause)
				require.NotEmpty(t, wrong[core].Bits())
				if site == FlipSum || site == FlipKnown {
					i, j := p.element(int(f.Index))
					require.Equal(t, "row "+strconv.Itoa(i)+", column "+strconv.Itoa(j), wrong[core].Place)
				}
			}
			t.Logf("width %d, %s: %d of %d flips changed the result, all found", width, names[site], changed, n)
			require.Greater(t, changed, n*8/10)
		}
	}
}

// elements returns how many places a site has.
func (p *Product) elements(site uint32) int {
	switch site {
	case FlipLeft:
		return len(p.a)
	case FlipRight:
		return len(p.b)
	}
	return len(p.known)
}

// changes computes whether a flip changes any element of the result. What is
// stored and does not change the result would stay flipped: it is mended.
func (p *Product) changes(f Fault) bool {
	s := p.shape
	a, b := s.operands(p.seed)
	flip := func(x *float64) { *x = math.Float64frombits(math.Float64bits(*x) ^ 1<<f.Bit) }
	fused := Fused(int(p.c.width))
	chain := func(i, j, step int) float64 { // flips the sum before step
		sum := 0.0
		for k := range s.K {
			if k == step {
				flip(&sum)
			}
			if x, y := a[i*s.K+k], b[k*s.N+j]; fused {
				sum = math.FMA(x, y, sum)
			} else {
				sum += float64(x * y)
			}
		}
		return sum
	}
	differs := func(i, j, step int) bool {
		tile := i/p.rows + j/p.cols*(s.M/p.rows)
		known := p.known[tile*p.rows*p.cols+i%p.rows+j%p.cols*p.rows]
		return math.Float64bits(chain(i, j, step)) != math.Float64bits(known)
	}
	switch f.Site {
	case FlipKnown:
		return true
	case FlipSum:
		i, j := p.element(int(f.Index))
		return differs(i, j, int(f.Step))
	case FlipUse: // one row of one tile
		i, j := p.element(int(f.Index))
		flip(&a[i*s.K+int(f.Step)])
		for c := j / p.cols * p.cols; c < (j/p.cols+1)*p.cols; c++ {
			if differs(i, c, -1) {
				return true
			}
		}
		return false
	case FlipLeft: // a whole row
		panel, k, row := int(f.Index)/(p.rows*s.K), int(f.Index)/p.rows%s.K, int(f.Index)%p.rows
		i := panel*p.rows + row
		flip(&a[i*s.K+k])
		for j := range s.N {
			if differs(i, j, -1) {
				return true
			}
		}
	default: // a whole column
		panel, k, col := int(f.Index)/(p.cols*s.K), int(f.Index)/p.cols%s.K, int(f.Index)%p.cols
		j := panel*p.cols + col
		flip(&b[k*s.N+j])
		for i := range s.M {
			if differs(i, j, -1) {
				return true
			}
		}
	}
	p.Flip(f) // it will be flipped once more, to what it was
	return false
}

func TestEveryFlipOfTheScalarLoadIsFound(t *testing.T) {
	stop, n := newStop(t), flipCount(t)
	kernels := [2]Kernel{NewScalar(1), NewScalar(2)}
	defer kernels[0].Close()
	defer kernels[1].Close()
	r := rand.New(rand.NewPCG(6, 6))
	for site := uint32(FlipTransform); site <= FlipMachine; site++ {
		for range n {
			core := r.IntN(2)
			f := Fault{Site: site, Bit: uint32(r.IntN(64)), Index: r.Uint64(), Step: r.Uint64()}
			wrong := strike(core, kernels, f, stop)
			require.NotNil(t, wrong[core], "%+v", f)
			require.NotEqual(t, wrong[core].Expected, wrong[core].Got)
			require.Nil(t, wrong[1-core])
		}
		t.Logf("place %d: %d of %d found", site, n, n)
	}
}

func TestEveryFlipOfTheCacheLoadIsFound(t *testing.T) {
	stop, n := newStop(t), flipCount(t)
	ring := NewCaches(2, 1<<16, 3)
	kernels := [2]Kernel{ring[0], ring[1]}
	defer kernels[0].Close()
	defer kernels[1].Close()
	r := rand.New(rand.NewPCG(7, 7))
	for range 50 { // the mail gets going
		strike(0, kernels, Fault{}, stop)
	}
	for site := uint32(FlipLine); site <= FlipLetter; site++ {
		for range 2 * n {
			core := r.IntN(2)
			f := Fault{Site: site, Bit: uint32(r.IntN(64)), Index: r.Uint64(), Step: r.Uint64()}
			// A letter may not have come yet: the flip waits for one.
			var wrong [2]*Wrong
			for tries := 0; wrong[core] == nil && (tries == 0 || ring[core].c.fault.site != 0); tries++ {
				require.Less(t, tries, 1000, "no letter comes")
				wrong = strike(core, kernels, f, stop)
				require.Nil(t, wrong[1-core])
			}
			require.NotNil(t, wrong[core], "%+v", f)
			require.NotEqual(t, wrong[core].Expected, wrong[core].Got)
		}
		t.Logf("place %d: %d of %d found", site, 2*n, 2*n)
	}
}

// A convolution by the definition, with numbers of any length in place of the
// transform.
func TestConvolutionIsThatOfTheDefinition(t *testing.T) {
	s := NewScalar(4)
	defer s.Close()
	a, b := make([]uint64, points/2), make([]uint64, points/2)
	for i := range a {
		a[i], b[i] = mix(uint64(i))%prime, mix(uint64(i)+1<<40)%prime
	}
	got := s.convolve(a, b)
	for _, i := range []int{0, 1, 255, 511, 512, 1000, 1022} {
		require.Equal(t, convolutionAt(a, b, i), got[i], "coefficient %d", i)
	}
	require.Zero(t, got[points-1])
}
