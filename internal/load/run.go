package load

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"

	"belay/internal/fault"
)

// Options say how to run a load. The zero value is the usual way.
type Options struct {
	// Program starts the child; none: this program with its hidden argument.
	Program []string
	// Progress is called about ten times a second and at every error, one call
	// at a time, on a goroutine of the run. It must not block for long, and
	// must not call Wait.
	Progress func(Progress)
	// HangAfter is how long a core or the whole load may be silent; 0: 10 s.
	HangAfter time.Duration
}

// hangAfter is longer than a busy PC keeps a load waiting, and short beside a
// trial. Chosen.
const hangAfter = 10 * time.Second

// stopWithin is how long a stopped load may take before it is killed.
const stopWithin = 900 * time.Millisecond

// Run is a load that was started.
type Run struct {
	spec    Spec
	options Options
	cmd     *exec.Cmd
	to      *writer
	input   io.Closer
	stderr  bytes.Buffer // the child's last words

	stop     chan struct{}
	stopOnce sync.Once
	done     chan struct{}
	result   Result
	err      error
}

// Start runs a load in a process of its own. It returns an Invalid fault for a
// specification that makes no sense, and an Unavailable fault if the process
// cannot start. What the load refuses later comes from Wait.
func Start(spec Spec, o Options) (*Run, error) {
	spec, err := spec.complete()
	if err != nil {
		return nil, err
	}
	if o.HangAfter == 0 {
		o.HangAfter = hangAfter
	}
	if len(o.Program) == 0 {
		self, err := os.Executable()
		if err != nil {
			return nil, fault.Wrap("load.Start", err)
		}
		o.Program = []string{self, childArgument}
	}
	r := &Run{spec: spec, options: o, stop: make(chan struct{}), done: make(chan struct{})}
	r.cmd = exec.Command(o.Program[0], o.Program[1:]...)
	r.cmd.Stderr = &limited{to: &r.stderr}
	input, err := r.cmd.StdinPipe()
	if err != nil {
		return nil, fault.Wrap("load.Start", err)
	}
	output, err := r.cmd.StdoutPipe()
	if err != nil {
		return nil, fault.Wrap("load.Start", err)
	}
	if err := r.cmd.Start(); err != nil {
		return nil, fault.New(fault.Unavailable, "The load could not be started.", "Close other programs and try again.").Because(err)
	}
	r.input, r.to = input, &writer{to: input}
	_ = r.to.write(line{T: tRun, Spec: &spec}) // a child that is gone already is seen below
	lines := make(chan line)
	go receive(output, lines)
	go r.supervise(lines)
	return r, nil
}

// Stop ends the load. It returns at once and may be called more than once.
func (r *Run) Stop() { r.stopOnce.Do(func() { close(r.stop) }) }

// Done is closed when the load has ended.
func (r *Run) Done() <-chan struct{} { return r.done }

// Wait waits for the end and returns what was found. A load that finds errors,
// crashes or hangs has a result. The fault says why a load could not run.
func (r *Run) Wait() (Result, error) {
	<-r.done
	return r.result, r.err
}

// receive hands the lines of a child over until its output ends.
func receive(from io.Reader, to chan<- line) {
	defer close(to)
	d := json.NewDecoder(from)
	for {
		var l line
		if err := d.Decode(&l); err != nil {
			_, _ = io.Copy(io.Discard, from) // a broken line: what follows cannot be trusted
			return
		}
		to <- l
	}
}

// watchdog is what a supervisor knows of its child.
type watchdog struct {
	heard   time.Time   // of any line
	moved   []time.Time // of each core's beat
	beats   []uint64
	started time.Time
	last    line // the last beat or end
	lastOf  time.Time
	crash   *line
	refused *fault.Error
	ended   bool
	errors  []Error
	fresh   []Error // not told yet
}

// supervise follows the child to its end.
func (r *Run) supervise(lines <-chan line) {
	defer close(r.done)
	w := &watchdog{heard: time.Now()}
	tick := time.NewTicker(beatEvery)
	defer tick.Stop()
	stop, late := r.stop, (<-chan time.Time)(nil)
	stopped, hung := false, false
	for lines != nil {
		select {
		case l, ok := <-lines:
			if !ok {
				lines = nil
				break
			}
			w.hear(l)
			r.tell(w, l)
		case <-stop:
			stop, stopped, late = nil, true, time.After(stopWithin)
			_ = r.to.write(line{T: tStop})
			_ = r.input.Close()
		case <-late:
			_ = r.cmd.Process.Kill()
		case <-tick.C:
			if e := w.hang(r.spec, r.options.HangAfter); e != nil && !hung && !stopped {
				hung = true
				w.errors = append(w.errors, *e)
				w.fresh = append(w.fresh, *e)
				_ = r.cmd.Process.Kill()
			}
		}
	}
	err := r.cmd.Wait()
	r.finish(w, err, stopped, hung)
}

// hear takes in a line.
func (w *watchdog) hear(l line) {
	now := time.Now()
	w.heard = now
	switch l.T {
	case tStart:
		w.started = now
	case tBeat, tEnd:
		w.last, w.lastOf = l, now
		w.ended = w.ended || l.T == tEnd
		for i, b := range l.Beats {
			if i >= len(w.beats) {
				w.beats, w.moved = append(w.beats, b), append(w.moved, now)
			} else if b != w.beats[i] {
				w.beats[i], w.moved[i] = b, now
			}
		}
	case tError:
		if l.Error != nil {
			w.errors = append(w.errors, *l.Error)
			w.fresh = append(w.fresh, *l.Error)
		}
	case tCrash:
		w.crash = &l
	case tRefused:
		w.refused = fault.New(l.FaultCode, l.Msg, l.Next)
	}
}

// hang tells whether the load stands still.
func (w *watchdog) hang(spec Spec, limit time.Duration) *Error {
	now := time.Now()
	for i, at := range w.moved {
		if now.Sub(at) > limit && i < len(spec.Cores) {
			e := endError(spec.Cores[i], w.at(at), "sign of life", fmt.Sprintf("nothing for %.0f s", limit.Seconds()))
			return &e
		}
	}
	if now.Sub(w.heard) > limit {
		e := endError(-1, w.at(w.heard), "sign of life", fmt.Sprintf("nothing for %.0f s", limit.Seconds()))
		return &e
	}
	return nil
}

// at is the time since the start of the work.
func (w *watchdog) at(t time.Time) time.Duration {
	if w.started.IsZero() || t.Before(w.started) {
		return 0
	}
	return t.Sub(w.started)
}

func (r *Run) tell(w *watchdog, l line) {
	if r.options.Progress == nil {
		return
	}
	p := Progress{Preparing: w.started.IsZero(), Done: l.Done, Total: l.Total, Elapsed: w.at(w.heard),
		Checked: sum(w.last.Units), Score: w.last.Score, Wrong: max(w.last.Wrong, len(w.errors)), Errors: w.fresh, Memory: w.last.Memory}
	w.fresh = nil
	r.options.Progress(p)
}

func sum(units []uint64) uint64 {
	n := uint64(0)
	for _, u := range units {
		n += u
	}
	return n
}

// finish makes the result of all that was heard and of how the child ended.
func (r *Run) finish(w *watchdog, exit error, stopped, hung bool) {
	if w.refused != nil {
		r.err = w.refused
		return
	}
	at := w.at(w.heard)
	ending := Completed
	switch {
	case hung:
		ending = Hung
	case w.crash != nil:
		ending = Crashed
		w.errors = append(w.errors, endError(w.crash.Core, at, "crash of the load", w.crash.What))
	case w.ended && len(w.errors) > 0 && !r.spec.KeepGoing:
		ending = Failed
	case stopped:
		ending = Stopped
	case !w.ended:
		ending = Crashed
		w.errors = append(w.errors, endError(-1, at, "end of the load", r.lastWords(exit)))
	}
	l := w.last
	r.result = Result{
		Kind: r.spec.Kind, Seconds: l.At, Cores: r.spec.Cores, Score: l.Score, Unit: r.spec.Kind.unit(),
		Errors: w.errors, Wrong: max(l.Wrong, len(w.errors)), Checked: sum(l.Units), Ended: ending, Width: l.Width, Memory: l.Memory,
		Windows: l.Opened, Punctual: l.Punctual,
	}
	if r.result.Errors == nil {
		r.result.Errors = []Error{}
	}
	r.result.GFLOPS = l.Score * l.Flops / 1e9
	if r.spec.Kind == Memory {
		r.result.GBs = l.Score
	}
	if r.options.Progress != nil && len(w.fresh) > 0 {
		r.options.Progress(Progress{Elapsed: at, Checked: r.result.Checked, Score: l.Score, Wrong: r.result.Wrong, Errors: w.fresh, Memory: l.Memory})
	}
}

// lastWords says how a child ended that did not say so itself.
func (r *Run) lastWords(exit error) string {
	var e *exec.ExitError
	said := "it ended without a word"
	if errors.As(exit, &e) {
		said = e.ProcessState.String()
	}
	if first, _, _ := strings.Cut(strings.TrimSpace(r.stderr.String()), "\n"); first != "" {
		said += ": " + first
	}
	return said
}

// limited keeps the first 4 KiB of what a dying child says.
type limited struct{ to *bytes.Buffer }

func (l *limited) Write(p []byte) (int, error) {
	if room := 4096 - l.to.Len(); room > 0 {
		l.to.Write(p[:min(room, len(p))])
	}
	return len(p), nil
}
