package load

import (
	"errors"
	"runtime"
	"sync/atomic"
	"time"

	"belay/internal/fault"
	"belay/internal/load/kernel"
	"belay/internal/load/memory"
)

// niceness lets the page and everything else on the PC go first. Chosen: at
// 10, a waiting program wakes up as early as beside an idle PC.
const niceness = 10

// onTime is how late a window may open, in nanoseconds, to count as on time.
const onTime = 10 * micro

// worker loads one core. Its counters may be read from anywhere.
type worker struct {
	number, workers int
	core            int
	spec            Spec
	shared          *shared
	tools           map[job]tool

	units, beats, wrong atomic.Uint64
	opened, punctual    atomic.Uint64 // windows
	meter               meter
	disturb             atomic.Pointer[disturb]
}

// tool does a job. Either kernel or memory is set.
type tool struct {
	kernel kernel.Kernel
	memory *memory.Worker
	weight float64 // units of the score in one unit of the kernel
}

// shared is what the workers of a load have in common.
type shared struct {
	stop   *kernel.Stop
	caches []*kernel.Cache
	check  *memory.Check
	start  atomic.Int64 // kernel.Now of the start of the work
	report func(Error)
}

// elapsed is the time since the start of the work.
func (s *shared) elapsed() time.Duration {
	if at := s.start.Load(); at != 0 {
		return time.Duration(kernel.Now() - at)
	}
	return 0
}

// prepare binds the calling goroutine to the core, for good, and makes the
// tools. A goroutine that ends while bound takes its thread with it.
func (w *worker) prepare() error {
	runtime.LockOSThread()
	if err := kernel.Pin(w.core); err != nil {
		return err
	}
	_ = kernel.Nice(niceness) // it runs on at the usual priority
	kernel.NameCore(w.core)
	if !kernel.RoundingDefault() {
		return fault.New(fault.Unavailable, "This thread does not round numbers as the standard says.", "Start the load again, without tools that change programs.")
	}
	w.tools = map[job]tool{}
	_, level2, _ := kernel.Caches()
	for _, j := range w.spec.Kind.jobs() {
		t := tool{weight: 1}
		switch j {
		case doScalar:
			t.kernel = kernel.NewScalar(w.spec.Seed + uint64(w.number)<<32)
		case doVector, doBrief:
			shape := kernel.Steady(level2)
			if j == doBrief {
				shape = kernel.Brief
			}
			p, err := kernel.NewProduct(w.spec.Width, shape, int((w.spec.Seed+uint64(w.number))%kernel.Seeds))
			if err != nil {
				return err
			}
			t.kernel = p
		case doCache:
			c := w.shared.caches[w.number]
			t.kernel = c
			if w.spec.Kind == Cache {
				t.weight = float64(c.Steps())
			}
		case doMemory:
			t.memory = w.shared.check.Worker(w.number)
		}
		w.tools[j] = t
	}
	return nil
}

// flops returns the operations of one long product, 0 where there is none.
func (s Spec) flops() float64 {
	if s.Kind != WideVector {
		return 0
	}
	_, level2, _ := kernel.Caches()
	return kernel.Steady(level2).Flops()
}

// work goes through the rota until the stop.
func (w *worker) work() {
	next := w.spec.Kind.rota()
	epoch := w.shared.start.Load()
	stop := w.shared.stop
	for !stop.Raised() {
		w.beats.Add(1)
		s := next(w.number, w.workers, kernel.Now()-epoch)
		if s.gated && !w.wait(epoch+s.from) {
			return
		}
		if d := w.disturb.Swap(nil); d != nil {
			w.suffer(d)
		}
		w.do(s.job, epoch+s.until)
	}
}

// wait waits for a window to open, and tells whether to go in.
func (w *worker) wait(at int64) bool {
	for {
		piece := min(at, kernel.Now()+int64(time.Second))
		now := kernel.Gate(piece, w.shared.stop)
		w.beats.Add(1)
		if w.shared.stop.Raised() {
			return false
		}
		if now >= at {
			w.opened.Add(1)
			if now-at <= onTime {
				w.punctual.Add(1)
			}
			return true
		}
	}
}

// do does a job until a time and counts it.
func (w *worker) do(j job, until int64) {
	t := w.tools[j]
	cpu := kernel.ThreadCPU()
	amount := 0.0
	if t.memory != nil {
		for kernel.Now() < until && !w.shared.stop.Raised() {
			amount += w.step(t.memory)
		}
	} else {
		done, wrong := t.kernel.Run(until, w.shared.stop, 1<<62)
		w.units.Add(done)
		amount = float64(done) * t.weight
		if wrong != nil {
			w.wrong.Add(1)
			w.shared.report(wrongError(w.core, w.shared.elapsed(), *wrong))
		}
	}
	w.meter.add(amount, kernel.ThreadCPU()-cpu)
}

// step checks a stretch of memory and returns the units of the score.
func (w *worker) step(m *memory.Worker) float64 {
	moved := m.Step(func(e memory.Error) {
		w.wrong.Add(1)
		w.shared.report(memoryError(w.core, w.shared.elapsed(), e))
	})
	w.units.Add(1)
	if w.spec.Kind != Memory {
		return 1
	}
	return float64(moved) / 1e9
}

// close frees the tools. The caches belong to the worker, memory to all.
func (w *worker) close() {
	for _, t := range w.tools {
		if t.kernel != nil {
			t.kernel.Close()
		}
	}
}

// disturb is what a test does to a worker.
type disturb struct {
	Worker int          `json:"worker"`
	Flip   kernel.Fault `json:"flip"`
	Job    job          `json:"job"`
	Die    int          `json:"die"`  // 1 and up: end the process, see kernel.Die
	Hang   bool         `json:"hang"` // stand still
}

// suffer carries out a disturbance on the worker's own thread.
func (w *worker) suffer(d *disturb) {
	switch {
	case d.Die > 0:
		kernel.Die(d.Die - 1)
	case d.Hang:
		for {
			time.Sleep(time.Hour)
		}
	}
	t := w.tools[d.Job]
	if t.memory != nil {
		t.memory.Spoil(d.Flip.Index)
	} else {
		t.kernel.Flip(d.Flip)
	}
}

// corrupt tells whether a fault says that the machine computed wrongly.
func corrupt(err error) bool {
	var f *fault.Error
	return errors.As(err, &f) && f.Code == fault.Corrupt
}
