package session

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/trial"
)

// walker drives one session in memory under the flow that comes with Belay.
type walker struct {
	t      *testing.T
	g      *flow.Graph
	events []event.Envelope
}

func begin(t *testing.T) *walker {
	t.Helper()
	g, err := flow.Load(os.DirFS("../../flows"), "desktop")
	require.NoError(t, err)
	w := &walker{t: t, g: g}
	payloads, err := Begin(g, event.SessionStarted{Title: "test", Flow: "desktop", FlowHash: g.Hash})
	require.NoError(t, err)
	w.append(payloads)
	return w
}

func (w *walker) state() *State {
	w.t.Helper()
	s, err := Fold(w.g, w.events)
	require.NoError(w.t, err)
	return s
}

func (w *walker) append(payloads []event.Payload) {
	w.t.Helper()
	var version int64
	hash := ""
	if n := len(w.events); n > 0 {
		version, hash = w.events[n-1].Version, w.events[n-1].Hash
	}
	e, err := event.Seal("s", version, hash, time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC), payloads...)
	require.NoError(w.t, err)
	w.events = append(w.events, e...)
	require.NoError(w.t, event.Verify(w.events))
}

// answer answers the present prompt and fails the test if that is refused.
func (w *walker) answer(action string, values trial.Values) *State {
	w.t.Helper()
	s := w.state()
	payloads, err := s.Decide(Answer{Prompt: s.PromptID(), Action: action, Values: values})
	require.NoError(w.t, err, "at %s", s.At)
	w.append(payloads)
	return w.state()
}

// toCore walks an invented PC to its first proposal of ratio and voltage.
func (w *walker) toCore() *State {
	w.answer("continue", nil)
	w.answer("continue", trial.Values{"backup": "done"})
	w.answer("continue", trial.Values{"clear_known": true})
	w.answer("continue", trial.Values{"cooler": "air", "supply_w": 850.0})
	w.answer("continue", trial.Values{"photo_taken": true})
	w.answer("continue", trial.Values{"target": "normal"})
	w.answer("continue", trial.Values{"core_count": 10.0, "stock_ratio": 48.0, "stock_cache_ratio": 43.0, "temp_limit_c": 100.0, "base_clock_mhz": 100.0})
	w.answer("continue", trial.Values{
		"memory_standard": "ddr4", "memory_modules": 2.0, "memory_gb": 32.0, "kit_rate_mts": 3600.0,
		"kit_cl": 16.0, "kit_trcd": 19.0, "kit_trp": 19.0, "kit_tras": 39.0, "kit_voltage_v": 1.35,
	})
	w.answer("entered", trial.Values{"firmware_version": "7.1"})
	w.report(trial.Values{"load_voltage_v": 1.05, "core_temp_c": 57.0, "air_temp_c": 22.0, "package_power_w": 125.0, "clock_mhz": 4300.0,
		"scores": []trial.Row{{"score": 1000}, {"score": 1004}, {"score": 998}}})
	w.onward("power-cap.enter")
	w.answer("entered", trial.Values{"sustained_limit_w": 4095.0})
	w.report(trial.Values{"load_voltage_v": 1.212, "core_temp_c": 77.0, "air_temp_c": 22.0, "package_power_w": 195.0, "clock_mhz": 4800.0,
		"scores": []trial.Row{{"score": 1105}, {"score": 1109}, {"score": 1102}}})
	w.onward("memory-profile.enter")
	w.answer("skip", nil)
	w.onward("voltage-mode.enter")
	s := w.state()
	set := float64(s.Proposal.Settings.SetVoltage)
	w.answer("entered", trial.Values{"voltage_mode": "static", "set_voltage_v": set, "ratio": 48.0, "load_line": "4"})
	w.report(trial.Values{"core_temp_c": 79.0, "air_temp_c": 22.0, "readings": []trial.Row{
		{"set_voltage_v": set, "load_voltage_v": set - 0.008, "package_power_w": 40},
		{"set_voltage_v": set, "load_voltage_v": set - 0.045, "package_power_w": 198},
	}})
	return w.onward("core.enter")
}

func (w *walker) report(readings trial.Values) {
	w.t.Helper()
	s := w.state()
	values := trial.Values{"outcome": "clean"}
	for _, f := range s.Prompt().Fields {
		if v, ok := readings[f.Name]; ok {
			values[f.Name] = v
		}
	}
	w.answer("report", values)
}

// onward presses the first button until the state is reached.
func (w *walker) onward(want string) *State {
	w.t.Helper()
	for range 6 {
		s := w.state()
		if s.At == want {
			return s
		}
		w.answer(s.Here().Actions[0].Name, nil)
	}
	require.Equal(w.t, want, w.state().At)
	return nil
}

func TestARealPCReachesTheCoreSearch(t *testing.T) {
	w := begin(t)
	s := w.toCore()
	require.NotNil(t, s.Proposal)
	require.Equal(t, "core", s.Proposal.Search)
	require.EqualValues(t, 49, s.Proposal.Settings.Ratio, "one step above the delivered ratio")
	require.NotEmpty(t, s.Prompt().Cautions)
	require.NotNil(t, s.Proposal.Expect)
	e := s.Evidence()
	require.Nil(t, e.Keep.Confidence, "nothing is claimed while the posterior is nearly the prior")
	require.Contains(t, e.Proof.Sentence, "not enough evidence")
	require.Positive(t, e.Proof.ModelFreeMTBFH)
	require.Equal(t, "skipped", stageStatus(s, "memory-profile"))
}

func stageStatus(s *State, id string) string {
	for _, v := range s.Stages() {
		if v.ID == id {
			return v.Status
		}
	}
	return ""
}

func TestUndoTakesBackAnswersOneByOne(t *testing.T) {
	w := begin(t)
	var prompts []Prompt
	for _, step := range []struct {
		action string
		values trial.Values
	}{
		{"continue", nil},
		{"continue", trial.Values{"backup": "none"}},
		{"continue", nil},
		{"continue", trial.Values{"backup": "done"}},
	} {
		prompts = append(prompts, *w.state().Prompt())
		w.answer(step.action, step.values)
	}
	for i := len(prompts) - 1; i >= 0; i-- {
		before := w.state()
		payloads, err := before.Undo("")
		require.NoError(t, err)
		w.append(payloads)
		got := *w.state().Prompt()
		require.NotEqual(t, before.PromptID(), got.ID, "an answer to the prompt that was undone is stale")
		got.ID = prompts[i].ID
		require.Equal(t, prompts[i], got)
	}
	_, err := w.state().Undo("")
	require.True(t, fault.Is(err, fault.Conflict))
}

func TestUndoTakesBackATrial(t *testing.T) {
	w := begin(t)
	s := w.toCore()
	trials, settings := len(s.Trials), s.Settings
	p := s.Proposal.Settings
	w.answer("entered", trial.Values{"ratio": float64(p.Ratio), "set_voltage_v": float64(p.SetVoltage)})
	w.answer("report", trial.Values{"outcome": "froze", "minutes_to_failure": 0.3})
	require.Len(t, w.state().Trials, trials+1)
	for range 2 {
		payloads, err := w.state().Undo("")
		require.NoError(t, err)
		w.append(payloads)
	}
	s = w.state()
	require.Len(t, s.Trials, trials)
	require.Equal(t, settings, s.Settings)
	require.Equal(t, p, s.Proposal.Settings, "the same evidence gives the same proposal")
}

func TestStaleAnswersAreRefused(t *testing.T) {
	w := begin(t)
	old := w.state().PromptID()
	w.answer("continue", nil)
	_, err := w.state().Decide(Answer{Prompt: old, Action: "continue"})
	require.True(t, fault.Is(err, fault.Conflict))
}

func TestNoWayPastALimit(t *testing.T) {
	w := begin(t)
	s := w.toCore()
	_, err := s.Decide(Answer{Prompt: s.PromptID(), Action: "entered", Values: trial.Values{"ratio": 49.0, "set_voltage_v": 1.45}})
	require.True(t, fault.Is(err, fault.Unsafe), "%v", err)
}

func TestReadingsThatContradict(t *testing.T) {
	for name, values := range map[string]trial.Values{
		"core_temp_c":    {"core_temp_c": 15.0},
		"load_voltage_v": {"load_voltage_v": 1.4},
		"clock_mhz":      {"clock_mhz": 6500.0},
		"outcome":        {"errors_found": 3.0},
	} {
		t.Run(name, func(t *testing.T) {
			w := begin(t)
			s := w.toCore()
			p := s.Proposal.Settings
			s = w.answer("entered", trial.Values{"ratio": float64(p.Ratio), "set_voltage_v": float64(p.SetVoltage)})
			all := trial.Values{"outcome": "clean", "load_voltage_v": 1.2, "core_temp_c": 80.0, "air_temp_c": 22.0, "package_power_w": 210.0, "clock_mhz": 4900.0}
			for k, v := range values {
				all[k] = v
			}
			_, err := s.Decide(Answer{Prompt: s.PromptID(), Action: "report", Values: all})
			var f *fault.Error
			require.ErrorAs(t, err, &f)
			require.Equal(t, name, f.Fields[0].Field)
		})
	}
}

func TestStopAndResume(t *testing.T) {
	w := begin(t)
	w.answer("continue", nil)
	at := w.state().At
	require.Equal(t, "stopped", w.answer("stop", nil).At)
	require.Equal(t, at, w.answer("resume", nil).At)
}

func TestFoldIsDeterministicAndRefusesAForeignMove(t *testing.T) {
	w := begin(t)
	w.toCore()
	a, b := w.state(), w.state()
	require.Equal(t, a.View(), b.View())
	require.Equal(t, a.History(), b.History())
	w.append([]event.Payload{event.Moved{From: "core.enter", To: "sheet.ready", Via: "entered"}})
	_, err := Fold(w.g, w.events)
	require.True(t, fault.Is(err, fault.Corrupt))
}

func TestEveryPlaceholderIsKnown(t *testing.T) {
	w := begin(t)
	s := w.toCore()
	p := s.Proposal.Settings
	s = w.answer("entered", trial.Values{"ratio": float64(p.Ratio), "set_voltage_v": float64(p.SetVoltage)})
	later := map[string]bool{ // told only once something else has happened
		"suspect": true, "suspect_because": true, "gain_last": true, "gain_tuning": true, "gain_total": true,
	}
	for _, name := range flow.Placeholders {
		if !later[name] {
			require.NotEmpty(t, s.word(name), name)
		}
	}
}
