package load

import (
	"bufio"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"belay/internal/fault"
	"belay/internal/load/kernel"
	"belay/internal/load/memory"
)

// childArgument starts this program as a load. People have no use for it.
const childArgument = "-load-child-"

// IsChild tells whether these arguments, program first, start a load.
func IsChild(args []string) bool { return len(args) == 2 && args[1] == childArgument }

// Exit codes of a child.
const (
	exitDone    = 0
	exitRefused = 1
)

// beatEvery is how often a child says that it lives.
const beatEvery = 100 * time.Millisecond

// described is how many errors a child describes; it counts the others.
// Chosen: enough to see a pattern, few enough to read.
const described = 200

// Child is the load itself: it reads what to do from in, writes lines to out,
// which has to be standard output, and returns the exit code. It ends when its
// time is over, when told to, and when in ends.
func Child(in io.Reader, out io.Writer) int { return child(in, out, false) }

// child also obeys disturbances where hooks is set, which only tests do.
func child(in io.Reader, out io.Writer, hooks bool) int {
	signal.Ignore(os.Interrupt) // a Ctrl+C is for Belay, which stops the load
	c := &session{out: &writer{to: out}, hooks: hooks}
	c.shared.stop, c.shared.report = kernel.NewStop(), c.report
	lines := json.NewDecoder(bufio.NewReader(in))
	if err := c.begin(lines); err != nil {
		return c.refuse(err)
	}
	go c.obey(lines)
	if err := c.prepare(); err != nil {
		return c.refuse(err)
	}
	return c.run()
}

// session is one load in its child process.
type session struct {
	out     *writer
	hooks   bool
	spec    Spec
	shared  shared
	workers []*worker
	asked   atomic.Bool // to stop
	errors  atomic.Int64
}

func (c *session) refuse(err error) int {
	var f *fault.Error
	if !errors.As(fault.Wrap("load.Child", err), &f) {
		return exitRefused
	}
	_ = c.out.write(line{T: tRefused, FaultCode: f.Code, Msg: f.Msg, Next: f.Next}) // nobody is left to tell
	return exitRefused
}

// begin reads the first line and sets the process up.
func (c *session) begin(lines *json.Decoder) error {
	var l line
	if err := lines.Decode(&l); err != nil || l.T != tRun || l.Spec == nil {
		return fault.New(fault.Invalid, "A load was started without saying which.", "Use \"belay load\".")
	}
	spec, err := l.Spec.complete()
	if err != nil {
		return err
	}
	widths := kernel.Widths()
	if len(widths) == 0 {
		return fault.New(fault.Unavailable, "This build of Belay has no loads of its own.",
			"Build it with a C compiler, for a 64-bit processor, or run a load of your own and enter the results.")
	}
	if spec.Width == 0 {
		spec.Width = widths[len(widths)-1]
	}
	c.spec = spec
	for i, core := range spec.Cores {
		c.workers = append(c.workers, &worker{number: i, workers: len(spec.Cores), core: core, spec: spec, shared: &c.shared})
	}
	// Nothing is collected: a load makes next to no garbage. Each busy worker
	// holds one of Go's processors, and the lines need some more.
	debug.SetGCPercent(-1)
	debug.SetMemoryLimit(256 << 20)
	runtime.GOMAXPROCS(len(spec.Cores) + 4)
	_ = os.WriteFile("/proc/self/oom_score_adj", []byte("900"), 0) // where there is one: the load goes first
	return kernel.WatchCrashes(int(os.Stdout.Fd()))
}

// obey reads what Belay says until its end, which means stop.
func (c *session) obey(lines *json.Decoder) {
	for {
		var l line
		if err := lines.Decode(&l); err != nil || l.T == tStop {
			c.asked.Store(true)
			c.end()
			return
		}
		if l.T == tDisturb && c.hooks && l.Fault != nil && l.Fault.Worker < len(c.workers) {
			c.workers[l.Fault.Worker].disturb.Store(l.Fault)
		}
	}
}

// end makes the workers stop.
func (c *session) end() { c.shared.stop.Raise() }

// report tells of a wrong result.
func (c *session) report(e Error) {
	if c.errors.Add(1) <= described {
		_ = c.out.write(line{T: tError, Error: &e}) // Belay is gone when this fails, and the input ends too
	}
	if !c.spec.KeepGoing {
		c.end()
	}
}

// prepare makes what the workers share. It tells how far it is while memory
// is being taken.
func (c *session) prepare() error {
	n := len(c.spec.Cores)
	for _, j := range c.spec.Kind.jobs() {
		switch j {
		case doCache:
			_, level2, level3 := kernel.Caches()
			c.shared.caches = kernel.NewCaches(n, kernel.WorkingSet(level2, level3, n), c.spec.Seed)
		case doMemory:
			if err := c.takeMemory(); err != nil {
				return err
			}
		}
	}
	return nil
}

func (c *session) takeMemory() error {
	check, err := memory.New(memory.Options{Size: c.spec.Size, Workers: len(c.spec.Cores), Seed: c.spec.Seed,
		Pin: func(i int) error { return kernel.Pin(c.spec.Cores[i]) }})
	if err != nil {
		return err
	}
	c.shared.check = check
	var done, total atomic.Int64
	ready := make(chan error, 1)
	go func() {
		ready <- check.Prepare(func(d, t int64) { done.Store(d); total.Store(t) })
	}()
	tick := time.NewTicker(beatEvery)
	defer tick.Stop()
	for {
		select {
		case err := <-ready:
			if errors.Is(err, memory.ErrStopped) {
				return nil // the workers see the stop
			}
			return err
		case <-tick.C:
			if c.asked.Load() {
				check.Stop()
			}
			_ = c.out.write(line{T: tPreparing, Done: done.Load(), Total: total.Load()})
		}
	}
}

// run lets the workers work and tells how they are.
func (c *session) run() int {
	var prepared, done sync.WaitGroup
	failures := make([]error, len(c.workers))
	gate := make(chan bool)
	prepared.Add(len(c.workers))
	for i, w := range c.workers {
		done.Go(func() {
			failures[i] = w.prepare()
			prepared.Done()
			if <-gate {
				w.work()
			}
		})
	}
	prepared.Wait()
	failed := c.failed(failures)
	c.shared.start.Store(kernel.Now())
	_ = c.out.write(line{T: tStart})
	for range c.workers {
		gate <- failed == nil
	}
	ended := make(chan struct{})
	go func() { done.Wait(); close(ended) }()
	c.watch(ended)
	for _, w := range c.workers {
		w.close()
	}
	if failed != nil && !corrupt(failed) {
		return c.refuse(failed)
	}
	last := c.beat(tEnd)
	_ = c.out.write(last)
	return exitDone
}

// failed returns the first failure to prepare. One that says that the machine
// computes wrongly is a wrong result of that core.
func (c *session) failed(failures []error) error {
	for i, err := range failures {
		var f *fault.Error
		if corrupt(err) && errors.As(err, &f) {
			c.workers[i].wrong.Add(1)
			e := endError(c.spec.Cores[i], 0, "known product", f.Msg)
			e.Expected = "the digest that is built in"
			c.report(e)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// watch tells how the load is until all workers have ended, and ends them in
// time.
func (c *session) watch(ended <-chan struct{}) {
	tick := time.NewTicker(beatEvery)
	defer tick.Stop()
	over := make(<-chan time.Time)
	if c.spec.Duration > 0 {
		over = time.After(c.spec.Duration)
	}
	for {
		select {
		case <-ended:
			return
		case <-over:
			c.end()
		case <-tick.C:
			if err := c.out.write(c.beat(tBeat)); err != nil {
				c.end() // Belay is gone
			}
		}
	}
}

// beat tells what was done so far.
func (c *session) beat(t string) line {
	l := line{T: t, At: c.shared.elapsed().Seconds()}
	for _, w := range c.workers {
		l.Units = append(l.Units, w.units.Load())
		l.Beats = append(l.Beats, w.beats.Load())
		l.Wrong += int(w.wrong.Load())
		l.Opened += w.opened.Load()
		l.Punctual += w.punctual.Load()
		l.Score += w.meter.rate()
	}
	if t == tEnd {
		l.Width, l.Flops = c.spec.Width, c.spec.flops()
	}
	if c.shared.check != nil {
		s := c.shared.check.Stats()
		l.Memory = &Memories{Size: s.Given, Coverage: s.Coverage(), Passes: s.Passes, Moved: s.Moved, Locked: s.Locked >= s.Given}
	}
	return l
}
