package assist

import (
	"context"
	"math"
	"slices"
	"sync"
	"time"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/trial"
	"belay/internal/units"
)

// Running is the trial that runs on this PC now.
type Running struct {
	Trial        int             `json:"n"`
	Load         trial.Load      `json:"load"`
	Minutes      units.Minutes   `json:"minutes"` // planned
	Status       string          `json:"status"`  // preparing, running, stopping or saving
	Preparing    string          `json:"preparing,omitempty"`
	ElapsedS     float64         `json:"elapsed_s"` // under load
	Score        float64         `json:"score,omitzero"`
	Unit         string          `json:"unit,omitempty"`
	Errors       int             `json:"errors"`
	CoreTemp     units.Celsius   `json:"core_temp_c,omitzero"` // newest reading
	PackagePower units.Watt      `json:"package_power_w,omitzero"`
	Clock        units.Megahertz `json:"clock_mhz,omitzero"`
}

// live is a trial under way.
type live struct {
	session string
	trial   int
	spec    LoadSpec
	hot     units.Celsius // at which it is stopped; 0 for never
	run     LoadRun
	watch   SensorWatch // nil without sensors
	over    chan struct{}

	mu       sync.Mutex
	stopping bool
	tooHot   bool
	saving   bool
}

// CanRun reports whether this PC can run trials by itself.
func (a *Assist) CanRun() bool { return a.Bench.StartLoad != nil }

// RunTrial starts the trial that the present prompt asks for, with a built-in
// load. Its start is on disk before the load begins. What comes out fills in
// the report of the same prompt.
func (a *Assist) RunTrial(ctx context.Context, id, prompt string) error {
	if !a.CanRun() {
		return fault.New(fault.Unavailable, "Belay cannot run a load here.", "Run the load by hand and type what you read.")
	}
	a.bench.Lock()
	defer a.bench.Unlock()
	if a.live != nil {
		return fault.New(fault.Conflict, "A trial is running on this PC already.", "Wait for its end, or stop it.")
	}
	var l live
	err := a.change(ctx, id, func(s loaded) ([]event.Payload, error) {
		if s.Practice != nil {
			return nil, fault.New(fault.Conflict, "A practice session runs no load on your PC.", "Let the simulated PC answer.")
		}
		if prompt != s.PromptID() {
			return nil, fault.New(fault.Conflict, "This step was already answered.", "Look at the present step and answer that.")
		}
		intent, err := s.Intent(a.BootID)
		if err != nil {
			return nil, err
		}
		l = live{
			session: id, trial: len(s.Trials) + 1, spec: LoadSpec{s.Proposal.Load, s.Proposal.Minutes},
			hot: s.TrialLimit(), over: make(chan struct{}),
		}
		return intent, nil
	})
	if err != nil {
		return err
	}
	return a.start(ctx, &l)
}

// start runs the load of l; a.bench is held.
func (a *Assist) start(ctx context.Context, l *live) error {
	s, err := a.load(ctx, l.session)
	if err != nil {
		return err
	}
	if a.Bench.Watch != nil {
		l.watch = a.Bench.Watch(WatchSpec{Clock: s.SetClock(), Limit: s.Settings.SustainedLimit})
	}
	end := func() {}
	if a.Bench.Pulse != nil {
		end = a.Bench.Pulse(l.session, l.trial, l.newest)
	}
	if l.run, err = a.Bench.StartLoad(l.spec); err != nil {
		end()
		if l.watch != nil {
			l.watch.End()
		}
		return fault.Wrap("assist.RunTrial", err)
	}
	a.live = l
	go a.follow(l, end)
	return nil
}

// follow waits for the end of a trial, stops it when it gets too hot, and
// commits what was found.
func (a *Assist) follow(l *live, endPulse func()) {
	defer close(l.over)
	look := time.NewTicker(time.Second)
	defer look.Stop()
	for running := true; running; {
		select {
		case <-l.run.Done():
			running = false
		case <-look.C:
			if t := l.newest().CoreTemp; l.hot > 0 && t > l.hot {
				l.stop(true)
			}
		}
	}
	l.mu.Lock()
	l.saving = true
	l.mu.Unlock()
	found := l.found()
	// The disk may be full for a moment; the result is worth some patience.
	for try := range 5 {
		if err := a.save(l, found); err == nil {
			break
		}
		time.Sleep(time.Duration(try) * time.Second)
	}
	endPulse() // a crash until here would still be dated
	a.bench.Lock()
	a.live = nil
	a.bench.Unlock()
}

func (a *Assist) save(l *live, found event.TrialFound) error {
	return a.change(context.Background(), l.session, func(s loaded) ([]event.Payload, error) {
		if s.Running == nil || s.Running.N != found.N {
			return nil, nil // the person reported it meanwhile
		}
		return []event.Payload{found}, nil
	})
}

func (l *live) newest() trial.Readings {
	if l.watch == nil {
		return trial.Readings{}
	}
	return l.watch.Newest()
}

func (l *live) stop(hot bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.stopping {
		return
	}
	l.stopping, l.tooHot = true, hot
	l.run.Stop()
}

// found puts together what the load and the sensors say.
func (l *live) found() event.TrialFound {
	r := l.run.Result()
	outcome, says := r.Outcome, slices.Clone(r.Says)
	values := trial.Values{}
	if l.watch != nil {
		read, throttled, more := l.watch.End()
		says = append(says, more...)
		for name, v := range plain(read) {
			values[name] = v
		}
		if outcome == trial.Clean && throttled {
			outcome = trial.Throttled
		}
	}
	l.mu.Lock()
	if outcome == trial.Stopped && l.tooHot {
		outcome = trial.TooHot
	}
	l.mu.Unlock()
	minutes := math.Round(r.Elapsed.Minutes()*100) / 100
	values["outcome"] = string(outcome)
	values["errors_found"] = float64(r.Errors)
	if outcome.Failed() {
		values["minutes_to_failure"] = minutes
	} else {
		values["minutes"] = minutes
	}
	if r.CoverageGB > 0 {
		values["coverage_gb"] = math.Round(r.CoverageGB*10) / 10
	}
	if outcome == trial.Clean && len(r.Scores) > 0 {
		var rows []trial.Row
		for _, x := range r.Scores {
			rows = append(rows, trial.Row{"score": math.Round(x*10) / 10})
		}
		values["scores"] = rows
		values["score"] = median(r.Scores)
	}
	return event.TrialFound{N: l.trial, From: "load", Values: values, Says: measured[outcome], Evidence: says}
}

// measured says what a trial of Belay's own led to.
var measured = map[trial.Outcome]string{
	trial.Clean:     "Belay ran the load to its end, and every result was right. Add what is missing and save.",
	trial.Error:     "The load found an error. Check the values and save.",
	trial.Stopped:   "The load was stopped before its end. This says nothing about the settings.",
	trial.TooHot:    "Belay stopped the load because the processor became too hot. Check the values and save.",
	trial.Throttled: "The load ran to its end, but the processor slowed itself down. Check the values and save.",
}

func median(xs []float64) float64 {
	s := slices.Sorted(slices.Values(xs))
	return math.Round((s[(len(s)-1)/2]+s[len(s)/2])/2*10) / 10
}

// RunningTrial returns the trial of this session that runs now, or nil.
func (a *Assist) RunningTrial(id string) *Running {
	a.bench.Lock()
	l := a.live
	a.bench.Unlock()
	if l == nil || l.session != id {
		return nil
	}
	p, read := l.run.Progress(), l.newest()
	r := &Running{
		Trial: l.trial, Load: l.spec.Load, Minutes: l.spec.Minutes, Status: "running", Preparing: p.Preparing,
		ElapsedS: math.Round(p.Elapsed.Seconds()*10) / 10, Score: p.Score, Unit: p.Unit, Errors: p.Errors,
		CoreTemp: read.CoreTemp, PackagePower: read.PackagePower, Clock: read.Clock,
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case l.saving:
		r.Status = "saving"
	case l.stopping:
		r.Status = "stopping"
	case p.Preparing != "":
		r.Status = "preparing"
	}
	return r
}

// StopTrial stops the running trial of this session.
func (a *Assist) StopTrial(id string) error {
	a.bench.Lock()
	l := a.live
	a.bench.Unlock()
	if l == nil || l.session != id {
		return fault.New(fault.Conflict, "No trial of this session is running.", "Look at the present step.")
	}
	l.stop(false)
	return nil
}

// Close stops a running trial and waits until its result is saved.
func (a *Assist) Close() {
	a.bench.Lock()
	l := a.live
	a.bench.Unlock()
	if l == nil {
		return
	}
	l.stop(false)
	<-l.over
}
