//go:build cgo && (amd64 || arm64 || ppc64le || riscv64 || loong64)

package kernel

// #include "kernel.h"
import "C"

import (
	"math"
	"slices"
	"strconv"
	"unsafe"

	"belay/internal/fault"
)

// Sites of a Fault of a product. Index is the element in the order of storage.
const (
	FlipSum   = 1 // a sum after Step of its K steps
	FlipUse   = 2 // one use of an element of A, in step Step
	FlipLeft  = 3 // a stored element of A
	FlipRight = 4 // a stored element of B
	FlipKnown = 5 // a stored element of the known result
)

// Product is the wide-vector load.
type Product struct {
	c     *C.bk_product
	room  room
	shape Shape
	seed  int
	a, b  []float64 // packed, in C's memory
	known []float64
	rows  int // of a tile
	cols  int
}

// Widths lists the vector widths in bits that work here, narrowest first. 128
// always works.
func Widths() []int {
	widths := []int{128}
	for _, w := range []int{256, 512} {
		if C.bk_width_works(C.int(w)) != 0 {
			widths = append(widths, w)
		}
	}
	return widths
}

// Fused tells whether a width multiplies and adds in one rounding.
func Fused(width int) bool { return C.bk_fused(C.int(width)) != 0 }

// NewProduct makes the load for a vector width, one of the three shapes and
// the operands of a seed, 0 to Seeds - 1. It returns an Invalid fault for
// others, and a Corrupt fault if this machine gets the known result wrong.
func NewProduct(width int, shape Shape, seed int) (*Product, error) {
	digests, ok := golden[shape]
	if !ok || seed < 0 || seed >= Seeds {
		return nil, fault.New(fault.Invalid, "The wide-vector load has no such shape or operands.", "Use a shape and a seed of the list.")
	}
	if !slices.Contains(Widths(), width) {
		return nil, fault.Newf(fault.Invalid, "Choose a width that this processor has.", "This processor has no vectors of %d bits.", width)
	}
	p := empty(width, shape, seed)
	a, b := shape.operands(seed)
	c := shape.product(a, b, Fused(width))
	want := digests[seed].unfused
	if Fused(width) {
		want = digests[seed].fused
	}
	if got := digest(c); got != want {
		p.Close()
		return nil, fault.Newf(fault.Corrupt, "This is a wrong result: go back to settings that held.",
			"The PC computed a known product wrongly: digest %016x instead of %016x.", got, want)
	}
	p.fill(a, b, c)
	return p, nil
}

// empty makes a product without its numbers.
func empty(width int, shape Shape, seed int) *Product {
	var rows, cols, lanes C.int
	C.bk_product_tile(C.int(width), &rows, &cols, &lanes)
	p := &Product{shape: shape, seed: seed, rows: int(rows), cols: int(cols)}
	m, n, k := shape.M, shape.N, shape.K
	head := (int(unsafe.Sizeof(C.bk_product{}))/C.BK_LINE + 1) * C.BK_LINE / 8
	p.room = newRoom(8 * (head + m*k + k*n + m*n + p.rows*p.cols))
	p.c = (*C.bk_product)(p.room.start)
	p.a = p.room.floats(head, m*k)
	p.b = p.room.floats(head+m*k, k*n)
	p.known = p.room.floats(head+m*k+k*n, m*n)
	got := p.room.floats(head+m*k+k*n+m*n, p.rows*p.cols)
	*p.c = C.bk_product{width: C.int32_t(width), m: C.int32_t(m), n: C.int32_t(n), k: C.int32_t(k),
		a: (*C.double)(&p.a[0]), b: (*C.double)(&p.b[0]), gold: (*C.double)(&p.known[0]), got: (*C.double)(&got[0])}
	return p
}

// fill packs the numbers, given by rows, as the tiles read them.
func (p *Product) fill(a, b, c []float64) {
	s := p.shape
	for at := range p.a {
		panel, k, r := at/(p.rows*s.K), at/p.rows%s.K, at%p.rows
		p.a[at] = a[(panel*p.rows+r)*s.K+k]
	}
	for at := range p.b {
		panel, k, j := at/(p.cols*s.K), at/p.cols%s.K, at%p.cols
		p.b[at] = b[k*s.N+panel*p.cols+j]
	}
	for at := range p.known {
		i, j := p.element(at)
		p.known[at] = c[i*s.N+j]
	}
}

// element returns the row and column of the known result at a place.
func (p *Product) element(at int) (i, j int) {
	tile, e := at/(p.rows*p.cols), at%(p.rows*p.cols)
	down := p.shape.M / p.rows
	return tile%down*p.rows + e%p.rows, tile/down*p.cols + e/p.rows
}

// Run does products, see Kernel. A wrong one is looked at a second time.
func (p *Product) Run(until int64, stop *Stop, most uint64) (uint64, *Wrong) {
	done := uint64(C.bk_product_run(p.c, C.int64_t(until), stop.c(), C.uint64_t(most), 1))
	if p.c.wrong.count == 0 {
		return done, nil
	}
	w := &Wrong{Check: "product", Expected: uint64(p.c.wrong.expected), Got: uint64(p.c.wrong.got), Count: int(p.c.wrong.count)}
	w.Place = "row " + strconv.Itoa(int(p.c.wrong.place>>32)) + ", column " + strconv.Itoa(int(uint32(p.c.wrong.place)))
	w.Cause = p.cause(stop)
	return done, w
}

// cause tells why a product was wrong, and mends what is stored.
func (p *Product) cause(stop *Stop) Cause {
	a, b := p.shape.operands(p.seed)
	c := p.shape.product(a, b, Fused(int(p.c.width)))
	was := [][]float64{slices.Clone(p.a), slices.Clone(p.b), slices.Clone(p.known)}
	p.fill(a, b, c)
	if !same(was[0], p.a) || !same(was[1], p.b) || !same(was[2], p.known) {
		return Stored
	}
	if C.bk_product_run(p.c, 0, stop.c(), 1, 1) == 1 {
		return Transient
	}
	return Persistent
}

func same(x, y []float64) bool {
	for i := range x {
		if math.Float64bits(x[i]) != math.Float64bits(y[i]) {
			return false
		}
	}
	return true
}

// RunUnchecked is Run without comparing: what a check costs is the difference.
// For benchmarks only.
func (p *Product) RunUnchecked(until int64, stop *Stop, most uint64) uint64 {
	return uint64(C.bk_product_run(p.c, C.int64_t(until), stop.c(), C.uint64_t(most), 0))
}

// Flip disturbs the next product, or what is stored. For tests only.
func (p *Product) Flip(f Fault) {
	stored := map[uint32][]float64{FlipLeft: p.a, FlipRight: p.b, FlipKnown: p.known}[f.Site]
	if stored == nil {
		p.c.fault = f.c()
		p.c.fault.index %= C.uint64_t(len(p.known))
		p.c.fault.step %= C.uint64_t(p.shape.K)
		return
	}
	at := &stored[f.Index%uint64(len(stored))]
	*at = math.Float64frombits(math.Float64bits(*at) ^ 1<<(f.Bit&63))
}

// Close frees the memory.
func (p *Product) Close() { p.room.free() }
