package main

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"belay/internal/assist"
	"belay/internal/fault"
	"belay/internal/load"
	"belay/internal/trial"
	"belay/internal/units"
)

// loadRun is a built-in load behind the use cases.
type loadRun struct {
	run *load.Run

	mu    sync.Mutex
	last  load.Progress
	marks []mark // one a second, for the scores of its parts
}

// mark is how much was done at a moment under load.
type mark struct {
	at    time.Duration
	units uint64
}

// startLoad starts a built-in load in a process of its own.
func startLoad(spec assist.LoadSpec) (assist.LoadRun, error) {
	r := &loadRun{}
	run, err := load.Start(
		load.Spec{Kind: load.Kind(spec.Load), Duration: time.Duration(float64(spec.Minutes) * float64(time.Minute))},
		load.Options{Progress: r.take},
	)
	if err != nil {
		return nil, err
	}
	r.run = run
	return r, nil
}

func (r *loadRun) take(p load.Progress) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.last = p
	if n := len(r.marks); p.Score > 0 && (n == 0 || p.Elapsed-r.marks[n-1].at >= time.Second) {
		r.marks = append(r.marks, mark{p.Elapsed, p.Checked}) // warm-up, when there is no score yet, does not count
	}
}

// Progress is how far the load is.
func (r *loadRun) Progress() assist.LoadProgress {
	r.mu.Lock()
	defer r.mu.Unlock()
	p := assist.LoadProgress{Elapsed: r.last.Elapsed, Score: r.last.Score, Errors: r.last.Wrong}
	if r.last.Preparing {
		p.Preparing = "Belay takes the memory that it will check."
		if r.last.Total > 0 {
			p.Preparing = fmt.Sprintf("Belay takes the memory that it will check: %d %% done.", 100*r.last.Done/r.last.Total)
		}
	}
	return p
}

// Stop ends the load within about a second.
func (r *loadRun) Stop() { r.run.Stop() }

// Done is closed when the load has ended.
func (r *loadRun) Done() <-chan struct{} { return r.run.Done() }

// Result is what came out.
func (r *loadRun) Result() assist.LoadResult {
	res, err := r.run.Wait()
	out := assist.LoadResult{Outcome: res.Outcome(), Elapsed: seconds(res.Seconds), Errors: max(res.Wrong, len(res.Errors))}
	if err != nil {
		out.Outcome = trial.Stopped
		out.Says = append(out.Says, text(err))
		return out
	}
	if out.Outcome == trial.Error && len(res.Errors) > 0 {
		out.Elapsed = seconds(res.Errors[0].AtS)
	}
	for _, e := range res.Errors[:min(len(res.Errors), 3)] {
		out.Says = append(out.Says, told(e))
	}
	if m := res.Memory; m != nil {
		out.CoverageGB = m.Passes * m.Coverage * float64(m.Size) / 1e9
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	out.Scores = thirds(res.Score, r.marks)
	return out
}

// told describes an error for a person.
func told(e load.Error) string {
	s := "After " + units.FormatMinutes(e.AtS/60) + ": " + e.Check
	if e.Core >= 0 {
		s += fmt.Sprintf(", core %d", e.Core)
	}
	if len(e.Bits) > 0 {
		s += fmt.Sprintf(", %d wrong bits", len(e.Bits))
	}
	return s + "."
}

// text is what a fault says to a person.
func text(err error) string {
	var f *fault.Error
	if errors.As(err, &f) {
		return f.Msg + " " + f.Next
	}
	return "The load could not run."
}

// leastMarks is below which a run is too short to have parts: half a minute.
const leastMarks = 30

// thirds are the scores of the three parts of a run: the score of the whole,
// weighted by how much each part got done.
func thirds(score float64, marks []mark) []float64 {
	n := len(marks)
	if score <= 0 {
		return nil
	}
	if n < leastMarks {
		return []float64{score}
	}
	rate := func(a, b mark) float64 { return float64(b.units-a.units) / (b.at - a.at).Seconds() }
	whole := rate(marks[0], marks[n-1])
	if whole <= 0 {
		return []float64{score}
	}
	cut := []int{0, (n - 1) / 3, 2 * (n - 1) / 3, n - 1}
	var out []float64
	for i := range 3 {
		out = append(out, score*rate(marks[cut[i]], marks[cut[i+1]])/whole)
	}
	return out
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
