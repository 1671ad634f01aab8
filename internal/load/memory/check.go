package memory

import (
	"errors"
	"runtime"
	"sync"
	"sync/atomic"

	"belay/internal/fault"
)

// Options say what to check and how.
type Options struct {
	// Size in bytes; 0 takes Room.Amount. It is rounded down to whole pages.
	Size int64
	// Workers is how many threads will run, 1 to 1024.
	Workers int
	// Seed draws the random backgrounds and the scattered order. The same seed
	// gives the same values; a caller gives a fresh one for each run.
	Seed uint64
	// Pin, if set, is called once on the thread that prepares a worker's part,
	// so that the part lies near that worker's core. Its error ends Prepare.
	Pin func(worker int) error
}

// Check is one memory check. Stop and Stats may be called from anywhere.
type Check struct {
	options Options
	area    *area
	phases  []phase
	workers []*Worker
	lock    func(piece []byte) error
	stop    atomic.Bool
	locked  atomic.Int64
}

// partBytes is the least that a worker gets: some lines of each page are then
// visited between two visits of the same line.
const partBytes = 64 << 10

// New takes the address space of a check. It returns an Invalid fault for
// options that make no sense and a Limit fault where too little memory is free.
func New(o Options) (*Check, error) {
	if o.Workers < 1 || o.Workers > 1024 {
		return nil, fault.Newf(fault.Invalid, "Use one worker for each core.", "A memory check cannot have %d workers.", o.Workers)
	}
	size, err := o.size()
	if err != nil {
		return nil, err
	}
	a, err := reserve(size)
	if err != nil {
		return nil, err
	}
	c := &Check{options: o, area: a, phases: plan(), lock: a.lock}
	for i, p := range parts(size, o.Workers) {
		c.workers = append(c.workers, newWorker(c, i, p))
	}
	return c, nil
}

// size returns the bytes to check.
func (o Options) size() (int64, error) {
	room, err := ReadRoom()
	if o.Size == 0 {
		if err != nil {
			return 0, err
		}
		return room.Amount()
	}
	size := o.Size / pageBytes * pageBytes
	if size < int64(o.Workers)*partBytes {
		return 0, fault.Newf(fault.Invalid, "Ask for more.", "A memory check of %d bytes is too small.", o.Size)
	}
	if err == nil { // else the system will tell when memory runs out
		err = room.allow(size)
	} else {
		err = nil
	}
	return size, err
}

// part is a stretch of the area, in bytes.
type part struct{ from, size int64 }

// parts divides size bytes among workers, on borders of huge pages where the
// parts are large, of pages elsewhere. The last one has what is left over.
func parts(size int64, workers int) []part {
	unit := int64(pageBytes)
	if size/int64(workers) >= 16*hugeBytes {
		unit = hugeBytes
	}
	each := size / int64(workers) / unit * unit
	out := make([]part, workers)
	for i := range out {
		out[i] = part{from: int64(i) * each, size: each}
	}
	out[workers-1].size = size - out[workers-1].from
	return out
}

// ErrStopped is returned by Prepare after Stop.
var ErrStopped = errors.New("memory check stopped")

// pieceBytes is how much is touched and locked at a time; chosen: progress
// moves and Stop is obeyed within some tens of milliseconds.
const pieceBytes = 16 << 20

// Prepare puts memory behind the area and locks it, each part on a thread of
// its worker. progress is told the bytes done and in all, one call at a time.
// Where the system does not let the area be locked it stays unlocked, which
// Stats tells. Prepare returns ErrStopped after Stop, or the error of Pin.
func (c *Check) Prepare(progress func(done, total int64)) error {
	var (
		wait  sync.WaitGroup
		mutex sync.Mutex
		done  int64
	)
	failed := make([]error, len(c.workers))
	for i, w := range c.workers {
		wait.Go(func() {
			runtime.LockOSThread() // for good: the thread ends with its affinity
			if c.options.Pin != nil {
				if failed[i] = c.options.Pin(i); failed[i] != nil {
					return
				}
			}
			failed[i] = w.prepare(func(bytes int64) {
				mutex.Lock()
				defer mutex.Unlock()
				done += bytes
				if progress != nil {
					progress(done, int64(len(c.area.bytes)))
				}
			})
		})
	}
	wait.Wait()
	return errors.Join(failed...)
}

// Worker returns a worker by its number, from 0.
func (c *Check) Worker(i int) *Worker { return c.workers[i] }

// Run checks the part of a worker, pass after pass, until Stop. It is called
// once for each worker, on the thread of that worker, after Prepare. report is
// called on that thread for each wrong word, but for at most 64 per step.
func (c *Check) Run(worker int, report func(Error)) {
	w := c.workers[worker]
	for !c.stop.Load() {
		w.Step(report)
	}
}

// Stop ends Prepare and every Run within milliseconds.
func (c *Check) Stop() { c.stop.Store(true) }

// Close gives the memory back. No Run or Step may be under way.
func (c *Check) Close() error {
	for _, w := range c.workers {
		w.free()
	}
	c.workers = nil
	return fault.Wrap("memory.Close", c.area.release())
}
