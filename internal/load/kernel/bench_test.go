//go:build linux && cgo && amd64

package kernel

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"testing"
	"time"

	"belay/internal/load/yardstick"
)

// pace returns a rate per second of this thread's processor time, over about
// a twentieth of a second. do does some work and returns its amount.
func pace(do func() float64) float64 {
	cpu, amount := ThreadCPU(), 0.0
	for ThreadCPU()-cpu < int64(50*time.Millisecond) {
		amount += do()
	}
	return amount / float64(ThreadCPU()-cpu)
}

// contest measures several kinds of work in turn, so that a disturbance meets
// all alike, and returns the median of each in operations per nanosecond, and
// the medians of the ratios of the first to each.
func contest(rounds int, work []func() float64) (rates, ratios []float64) {
	samples, against := make([][]float64, len(work)), make([][]float64, len(work))
	for range rounds {
		first := 0.0
		for i, do := range work {
			r := pace(do)
			if i == 0 {
				first = r
			}
			samples[i] = append(samples[i], r)
			against[i] = append(against[i], first/r)
		}
	}
	for i := range work {
		slices.Sort(samples[i])
		slices.Sort(against[i])
		rates, ratios = append(rates, samples[i][rounds/2]), append(ratios, against[i][rounds/2])
	}
	return rates, ratios
}

// BenchmarkProduct sets the checked product against the same without its
// check, against registers only, and against the library's product of several
// sizes. Which width the library takes is its own choice, or that of its
// environment variable: force it to the width that is compared.
func BenchmarkProduct(b *testing.B) {
	runtime.LockOSThread()
	_, level2, _ := Caches()
	shape := Steady(level2)
	stop := NewStop()
	defer stop.Free()
	for _, width := range Widths() {
		b.Run(fmt.Sprintf("%d-bit", width), func(b *testing.B) {
			p, err := NewProduct(width, shape, 0)
			if err != nil {
				b.Fatal(err)
			}
			defer p.Close()
			names := []string{"checked", "unchecked", "registers"}
			work := []func() float64{
				func() float64 {
					done, wrong := p.Run(math.MaxInt64, stop, 4)
					if wrong != nil {
						b.Fatal(wrong)
					}
					return float64(done) * shape.Flops()
				},
				func() float64 { return float64(p.RunUnchecked(math.MaxInt64, stop, 4)) * shape.Flops() },
				func() float64 { return yardstick.Registers(width, 20_000) },
			}
			for _, n := range []int{48, 96, 192, 384, 768} {
				multiply, flops, ok := yardstick.Product(n)
				if !ok {
					b.Log("no comparison with a library: libopenblas.so.0 is not installed")
					break
				}
				names = append(names, fmt.Sprintf("dgemm%d", n))
				work = append(work, func() float64 { multiply(); return flops })
			}
			rates, ratios := contest(11, work)
			for i, name := range names {
				b.ReportMetric(rates[i], name+"_GFLOP/s")
				if i > 0 {
					b.ReportMetric(ratios[i], "checked/"+name)
				}
			}
			b.ReportMetric(0, "ns/op")
		})
	}
}

// BenchmarkShapes compares the shapes at the widest vectors.
func BenchmarkShapes(b *testing.B) {
	runtime.LockOSThread()
	stop := NewStop()
	defer stop.Free()
	for _, shape := range []Shape{Large, Small, Brief} {
		p, err := NewProduct(Widths()[len(Widths())-1], shape, 0)
		if err != nil {
			b.Fatal(err)
		}
		rates, _ := contest(7, []func() float64{func() float64 {
			done, _ := p.Run(math.MaxInt64, stop, 4)
			return float64(done) * shape.Flops()
		}})
		b.ReportMetric(rates[0], fmt.Sprintf("%dx%dx%d_GFLOP/s", shape.M, shape.N, shape.K))
		p.Close()
	}
}
