package assist

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/session"
	"belay/internal/store/storetest"
	"belay/internal/trial"
	"belay/internal/virtualrig"
)

// handLoad is a load that ends when the test says so.
type handLoad struct {
	mu      sync.Mutex
	result  LoadResult
	stopped bool
	done    chan struct{}
}

func (l *handLoad) Progress() LoadProgress {
	return LoadProgress{Elapsed: 90 * time.Second, Score: 41.5, Unit: "rounds/s"}
}
func (l *handLoad) Done() <-chan struct{} { return l.done }
func (l *handLoad) Result() LoadResult    { return l.result }

func (l *handLoad) Stop() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.stopped {
		return
	}
	l.stopped = true
	l.result = LoadResult{Outcome: trial.Stopped, Elapsed: 95 * time.Second}
	close(l.done)
}

func (l *handLoad) end(r LoadResult) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.result = r
	close(l.done)
}

// handSensors reads what the test says.
type handSensors struct {
	mu        sync.Mutex
	read      trial.Readings
	throttled bool
}

func (s *handSensors) Newest() trial.Readings {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.read
}

func (s *handSensors) End() (trial.Readings, bool, []string) {
	return s.Newest(), s.throttled, []string{"The voltage is the median under load."}
}

// workshop is a session about a real PC at its first trial, on a bench whose
// load and sensors the test moves.
type workshop struct {
	*Assist
	t       *testing.T
	id      string
	load    *handLoad
	sensors *handSensors
	pulses  []string // "on" and "off"
	mu      sync.Mutex
}

func newWorkshop(t *testing.T, log Log) *workshop {
	t.Helper()
	w := &workshop{Assist: newTestAssist(log), t: t, sensors: &handSensors{}}
	w.Bench = Bench{
		StartLoad: func(LoadSpec) (LoadRun, error) {
			w.load = &handLoad{done: make(chan struct{})}
			return w.load, nil
		},
		Pulse: func(string, int, func() trial.Readings) func() {
			w.pulse("on")
			return func() { w.pulse("off") }
		},
		Watch: func(WatchSpec) SensorWatch { return w.sensors },
	}
	var err error
	w.id, err = w.Start(t.Context(), StartRequest{Flow: "desktop", Title: "real"})
	require.NoError(t, err)
	return w
}

func (w *workshop) pulse(s string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.pulses = append(w.pulses, s)
}

// walk answers until the first trial is due.
func (w *workshop) walk() session.Prompt {
	w.t.Helper()
	rig, err := virtualrig.New(7, "own")
	require.NoError(w.t, err)
	known := machineValues(rig)
	for name, v := range choices {
		known[name] = v
	}
	for range 60 {
		p, err := w.Prompt(w.t.Context(), w.id)
		require.NoError(w.t, err)
		if p.Trial {
			return p
		}
		values := trial.Values{}
		for _, f := range p.Fields {
			if v, ok := known[f.Name]; ok && (f.Required || f.NeededIf != nil) {
				values[f.Name] = v
			} else if f.Default != nil {
				values[f.Name] = f.Default
			}
		}
		_, err = w.Answer(w.t.Context(), w.id, AnswerRequest{Prompt: p.ID, Action: p.Actions[0].Name, Values: values})
		require.NoError(w.t, err, p.State)
	}
	w.t.Fatal("no trial came")
	return session.Prompt{}
}

func (w *workshop) prompt() session.Prompt {
	p, err := w.Prompt(w.t.Context(), w.id)
	require.NoError(w.t, err)
	return p
}

// settled waits until the trial is over and its result is saved.
func (w *workshop) settled() session.Prompt {
	w.t.Helper()
	require.Eventually(w.t, func() bool { return w.RunningTrial(w.id) == nil }, time.Minute, 5*time.Millisecond)
	return w.prompt()
}

func defaults(p session.Prompt) trial.Values {
	out := trial.Values{}
	for _, f := range p.Fields {
		if f.Default != nil {
			out[f.Name] = f.Default
		}
	}
	return out
}

func TestABuiltInLoadFillsInTheReport(t *testing.T) {
	w := newWorkshop(t, storetest.NewMemory())
	p := w.walk()
	w.sensors.read = trial.Readings{LoadVoltage: 1.212, CoreTemp: 71, PackagePower: 124, Clock: 4700}
	require.NoError(t, w.RunTrial(t.Context(), w.id, p.ID))
	r := w.RunningTrial(w.id)
	require.Equal(t, "running", r.Status)
	require.Equal(t, 1, r.Trial)
	require.InDelta(t, 90, r.ElapsedS, 0.1)
	require.EqualValues(t, 71, r.CoreTemp)
	require.Nil(t, w.RunningTrial("another"))
	require.True(t, fault.Is(w.RunTrial(t.Context(), w.id, p.ID), fault.Conflict), "one trial at a time")

	w.load.end(LoadResult{Outcome: trial.Clean, Elapsed: 15 * time.Minute, Scores: []float64{100, 103, 101}})
	p = w.settled()
	require.Equal(t, "load", p.Found.From)
	require.Equal(t, []string{"The voltage is the median under load."}, p.Found.Evidence)
	got := defaults(p)
	require.Equal(t, "clean", got["outcome"])
	require.InDelta(t, 1.212, got["load_voltage_v"], 1e-9)
	require.InDelta(t, 71, got["core_temp_c"], 1e-9)
	require.Equal(t, []trial.Row{{"score": 100}, {"score": 103}, {"score": 101}}, got["scores"])
	require.Equal(t, []string{"on", "off"}, w.pulses)

	// The person saves what was filled in, and the trial counts.
	got["air_temp_c"] = 22.0
	_, err := w.Answer(t.Context(), w.id, AnswerRequest{Prompt: p.ID, Action: p.Actions[0].Name, Values: got})
	require.NoError(t, err)
	trials, err := w.Trials(t.Context(), w.id)
	require.NoError(t, err)
	require.Equal(t, trial.Clean, trials[0].Outcome)
	require.EqualValues(t, 101, trials[0].Readings.Score)
	require.Nil(t, w.prompt().Found)
}

func TestHowALoadEnds(t *testing.T) {
	for name, c := range map[string]struct {
		read      trial.Readings
		throttled bool
		result    LoadResult
		stop      bool
		want      trial.Values
	}{
		"an error": {
			result: LoadResult{Outcome: trial.Error, Elapsed: 200 * time.Second, Errors: 2},
			want:   trial.Values{"outcome": "error", "minutes_to_failure": 3.33, "errors_found": 2.0},
		},
		"throttled": {
			throttled: true, result: LoadResult{Outcome: trial.Clean, Elapsed: time.Minute},
			want: trial.Values{"outcome": "throttled", "minutes": 1.0},
		},
		"stopped by the person": {stop: true, want: trial.Values{"outcome": "stopped", "minutes": 1.58}},
		"too hot": {
			read: trial.Readings{CoreTemp: 130},
			want: trial.Values{"outcome": "too_hot", "minutes": 1.58, "core_temp_c": 130.0},
		},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWorkshop(t, storetest.NewMemory())
			p := w.walk()
			w.sensors.read, w.sensors.throttled = c.read, c.throttled
			require.NoError(t, w.RunTrial(t.Context(), w.id, p.ID))
			switch {
			case c.stop:
				require.NoError(t, w.StopTrial(w.id))
			case c.result.Outcome != "":
				w.load.end(c.result)
			}
			got := defaults(w.settled())
			for field, v := range c.want {
				require.Equal(t, v, got[field], field)
			}
		})
	}
}

func TestWhatCannotBeRunIsSaid(t *testing.T) {
	w := newWorkshop(t, storetest.NewMemory())
	require.True(t, fault.Is(w.RunTrial(t.Context(), w.id, w.prompt().ID), fault.Conflict), "no trial is due")
	p := w.walk()
	require.True(t, fault.Is(w.RunTrial(t.Context(), w.id, "p0"), fault.Conflict), "a stale prompt")
	require.True(t, fault.Is(w.StopTrial(w.id), fault.Conflict), "nothing runs")
	w.Bench.StartLoad = func(LoadSpec) (LoadRun, error) {
		return nil, fault.New(fault.Unavailable, "No process could be started.", "Try again.")
	}
	require.True(t, fault.Is(w.RunTrial(t.Context(), w.id, p.ID), fault.Unavailable))
	require.Nil(t, w.RunningTrial(w.id))
	require.Equal(t, []string{"on", "off"}, w.pulses, "no signs of life without a load")

	practice, err := w.Start(t.Context(), StartRequest{Flow: "desktop", Practice: &event.Practice{Seed: 7, Variant: "own"}})
	require.NoError(t, err)
	require.True(t, fault.Is(w.RunTrial(t.Context(), practice, "p1"), fault.Conflict))
	w.Bench = Bench{}
	require.True(t, fault.Is(w.RunTrial(t.Context(), w.id, p.ID), fault.Unavailable))
}

// The end of Belay stops the load and keeps what was found.
func TestCloseStopsTheLoad(t *testing.T) {
	w := newWorkshop(t, storetest.NewMemory())
	p := w.walk()
	w.Close()
	require.NoError(t, w.RunTrial(t.Context(), w.id, p.ID))
	w.Close()
	require.Nil(t, w.RunningTrial(w.id))
	require.Equal(t, "stopped", defaults(w.prompt())["outcome"])
}

// The PC goes down in the middle of a trial: the next start finds it.
func TestResumeFindsWhatHasNoEnd(t *testing.T) {
	log := storetest.NewMemory()
	w := newWorkshop(t, log)
	w.BootID = "before"
	p := w.walk()
	require.NoError(t, w.RunTrial(t.Context(), w.id, p.ID))

	after := newTestAssist(log)
	var asked []Unended
	after.Bench.Found = func(u Unended) Verdict {
		asked = append(asked, u)
		return Verdict{
			Outcome: trial.Reset, Dated: true, Minutes: 7.333, Certainty: "likely", Says: "The PC restarted by itself.",
			Evidence: []string{"It was off for 40 s."},
		}
	}
	require.NoError(t, after.Resume(t.Context()))
	require.NoError(t, after.Resume(t.Context()), "once is enough")
	require.Len(t, asked, 1)
	require.Equal(t, "before", asked[0].BootID)
	require.Equal(t, 1, asked[0].Trial)
	require.EqualValues(t, 100, asked[0].Limit)
	require.False(t, asked[0].Started.IsZero())

	p, err := after.Prompt(context.Background(), w.id)
	require.NoError(t, err)
	require.Equal(t, "crash", p.Found.From)
	require.Equal(t, "likely", p.Found.Certainty)
	got := defaults(p)
	require.Equal(t, "reset", got["outcome"])
	require.InDelta(t, 7.33, got["minutes_to_failure"], 1e-9)

	// The person is the last judge, and may run it again.
	_, err = after.Answer(t.Context(), w.id, AnswerRequest{Prompt: p.ID, Action: p.Actions[0].Name, Values: trial.Values{"outcome": "stopped"}})
	require.NoError(t, err)
	trials, err := after.Trials(t.Context(), w.id)
	require.NoError(t, err)
	require.Equal(t, trial.Stopped, trials[0].Outcome)
	w.load.Stop()
	w.settled()
	require.Nil(t, w.prompt().Found, "what was reported already is not found again")
}
