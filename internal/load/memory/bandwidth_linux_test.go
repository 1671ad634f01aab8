package memory

import (
	"fmt"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"unsafe"

	"github.com/stretchr/testify/require"

	"belay/internal/load/memory/triad"
)

// Each worker gets 1 GiB, or BELAY_BENCH_MIB of them: far more than the caches.
func benchSize(b *testing.B) int64 {
	mib := int64(1024)
	if text := os.Getenv("BELAY_BENCH_MIB"); text != "" {
		n, err := strconv.ParseInt(text, 10, 32)
		require.NoError(b, err)
		mib = n
	}
	return mib << 20
}

// threadSeconds is the processor time of this thread, so that other programs
// on the same cores count for less.
func threadSeconds() float64 {
	var ts syscall.Timespec
	const threadCPU = 3 // CLOCK_THREAD_CPUTIME_ID
	_, _, errno := syscall.RawSyscall(syscall.SYS_CLOCK_GETTIME, threadCPU, uintptr(unsafe.Pointer(&ts)), 0)
	if errno != 0 {
		panic(errno)
	}
	return float64(ts.Sec) + float64(ts.Nsec)*1e-9
}

// BenchmarkBandwidth compares the check with the best streaming triad on the
// same memory, turn by turn. One iteration is all triads, one march and the
// scattered march. GB/s are bytes that the program moves per second of
// processor time, the median over the iterations, summed over the threads.
func BenchmarkBandwidth(b *testing.B) {
	for workers := 1; workers <= runtime.NumCPU(); workers *= 2 {
		b.Run(fmt.Sprintf("threads=%d", workers), func(b *testing.B) { bandwidth(b, workers) })
	}
}

func bandwidth(b *testing.B, workers int) {
	c, err := New(Options{Size: int64(workers) * benchSize(b), Workers: workers, Seed: 1})
	require.NoError(b, err)
	defer func() { require.NoError(b, c.Close()) }()
	require.NoError(b, c.Prepare(nil))
	rates := map[string][][]float64{} // by name, by iteration, by worker
	measure := func(name string, work func(w *Worker) int64) {
		each := make([]float64, workers)
		var wait sync.WaitGroup
		for i, w := range c.workers {
			wait.Go(func() {
				runtime.LockOSThread()
				defer runtime.UnlockOSThread()
				start := threadSeconds()
				moved := work(w)
				each[i] = float64(moved) / 1e9 / (threadSeconds() - start)
			})
		}
		wait.Wait()
		rates[name] = append(rates[name], each)
	}
	for b.Loop() {
		for _, width := range widths() {
			for _, stream := range []bool{false, true} {
				v := triad.Variant{Width: width, Stream: stream}
				measure(fmt.Sprintf("triad-%d-%t", width, stream), func(w *Worker) int64 {
					return triad.Bytes * triad.Run(v, w.bytes())
				})
			}
		}
		for _, width := range widths() {
			measure(fmt.Sprintf("march-%d", width), func(w *Worker) int64 { return phases(b, w, width, "0000000000000000") })
		}
		measure("hashed", func(w *Worker) int64 { return phases(b, w, widest(), "address") })
		measure("scattered", func(w *Worker) int64 { return phases(b, w, widest(), "scattered") })
	}
	best := 0.0
	for name, r := range rates {
		v := median(r)
		b.Logf("%s %.2f GB/s", name, v)
		if strings.HasPrefix(name, "triad") {
			best = max(best, v)
		}
	}
	march := median(rates[fmt.Sprintf("march-%d", widest())])
	b.ReportMetric(march, "march-GB/s")
	b.ReportMetric(best, "triad-GB/s")
	b.ReportMetric(march/best, "march/triad")
	hashed, far := median(rates["hashed"]), median(rates["scattered"])
	b.ReportMetric(hashed/best, "hashed/triad")
	b.ReportMetric(far/best, "scattered/triad")
	// A pass is seven marches over plain backgrounds, two over hashed ones and
	// the scattered one of six accesses.
	b.ReportMetric(96/(70/march+20/hashed+6/far)/best, "pass/triad")
}

// phases does all elements over one background and returns the bytes moved.
func phases(b *testing.B, w *Worker, width int, background string) int64 {
	w.width = width
	w.phase = slices.IndexFunc(w.check.phases, func(p phase) bool { return p.background.name == background })
	w.at = 0
	w.begin()
	moved := int64(0)
	for w.check.phases[w.phase].background.name == background {
		moved += w.Step(func(e Error) { b.Errorf("false alarm: %+v", e) })
	}
	return moved
}

// median returns the median over iterations of the sum over workers.
func median(rates [][]float64) float64 {
	var sums []float64
	for _, each := range rates {
		sum := 0.0
		for _, r := range each {
			sum += r
		}
		sums = append(sums, sum)
	}
	slices.Sort(sums)
	return sums[len(sums)/2]
}
