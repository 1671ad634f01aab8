package session

import (
	"maps"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/trial"
)

// wrongIn returns the fields that an answer is refused for.
func (w *walker) wrongIn(action string, values trial.Values, confirm ...string) []fault.Field {
	w.t.Helper()
	s := w.state()
	_, err := s.Decide(Answer{Prompt: s.PromptID(), Action: action, Values: values, Confirm: confirm})
	if err == nil {
		return nil
	}
	var f *fault.Error
	require.ErrorAs(w.t, err, &f)
	require.Equal(w.t, fault.Invalid, f.Code)
	return f.Fields
}

// TestDoubts gives a core trial odd, slipped and impossible readings. Odd ones
// pass when they are confirmed, impossible ones never.
func TestDoubts(t *testing.T) {
	w := begin(t)
	s := w.toCore()
	p := s.Proposal.Settings
	w.answer("entered", trial.Values{"ratio": float64(p.Ratio), "set_voltage_v": float64(p.SetVoltage)})
	sound := trial.Values{
		"outcome": "clean", "load_voltage_v": float64(p.SetVoltage) - 0.04, "core_temp_c": 80.0, "air_temp_c": 22.0,
		"package_power_w": 210.0, "clock_mhz": 4900.0, "score": 1125.0,
	}
	require.Empty(t, w.wrongIn("report", sound))
	for _, c := range []struct {
		name, field string
		change      trial.Values
		suggest     any
		possible    bool
	}{
		{"load above set", "load_voltage_v", trial.Values{"load_voltage_v": float64(p.SetVoltage) + 0.05}, nil, true},
		{"load far below set", "load_voltage_v", trial.Values{"load_voltage_v": float64(p.SetVoltage) - 0.3}, nil, true},
		{"clock below set", "outcome", trial.Values{"clock_mhz": 4700.0}, "throttled", true},
		{"clock above set", "clock_mhz", trial.Values{"clock_mhz": 5900.0}, nil, true},
		{"colder than the room", "core_temp_c", trial.Values{"core_temp_c": 15.0}, nil, false},
		{"above its limit", "core_temp_c", trial.Values{"core_temp_c": 129.0}, 53.9, true},
		{"a digit short", "package_power_w", trial.Values{"package_power_w": 21.0}, 210.0, true},
		{"a score with a digit more", "score", trial.Values{"score": 11270.0}, 1127.0, true},
		{"errors in a clean run", "outcome", trial.Values{"errors_found": 2.0}, "error", false},
		{"seconds for minutes", "minutes_to_failure", trial.Values{"outcome": "error", "minutes_to_failure": 120.0}, 2.0, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			values := maps.Clone(sound)
			maps.Copy(values, c.change)
			wrong := w.wrongIn("report", values)
			require.Len(t, wrong, 1)
			require.Equal(t, c.field, wrong[0].Field)
			require.Equal(t, c.possible, wrong[0].Confirm)
			require.Equal(t, c.suggest, wrong[0].Suggest)
			require.LessOrEqual(t, len(strings.Fields(wrong[0].Message)), 40)
			if c.possible {
				require.Empty(t, w.wrongIn("report", values, c.field), "the person insists")
				require.Empty(t, w.wrongIn("report", values, fieldOf(c.field)))
			} else {
				require.Len(t, w.wrongIn("report", values, c.field), 1, "nobody can insist on this")
			}
		})
	}
	wrong := w.wrongIn("report", sound, "ratio")
	require.Len(t, wrong, 1, "there is nothing to confirm")

	odd := maps.Clone(sound)
	odd["clock_mhz"] = 5900.0
	state := w.state()
	payloads, err := state.Decide(Answer{Prompt: state.PromptID(), Action: "report", Values: odd, Confirm: []string{"clock_mhz"}})
	require.NoError(t, err)
	w.append(payloads)
	var said []string
	for _, e := range w.state().History() {
		said = append(said, e.Lines...)
	}
	require.Contains(t, strings.Join(said, "\n"), "5900 MHz, confirmed", "an odd value is never used silently")
}

// TestEnteredAboveTheProposal: what was typed above the proposal is asked
// back with the proposed value.
func TestEnteredAboveTheProposal(t *testing.T) {
	w := begin(t)
	p := w.toCore().Proposal.Settings
	ratio, volts := float64(p.Ratio), float64(p.SetVoltage)
	wrong := w.wrongIn("entered", trial.Values{"ratio": ratio + 2, "set_voltage_v": volts})
	require.Len(t, wrong, 1)
	require.Equal(t, fault.Field{Field: "ratio", Message: wrong[0].Message, Suggest: ratio, Confirm: true}, wrong[0])
	wrong = w.wrongIn("entered", trial.Values{"ratio": ratio, "set_voltage_v": volts + 0.04})
	require.Len(t, wrong, 1)
	require.Equal(t, volts, wrong[0].Suggest)
	require.Empty(t, w.wrongIn("entered", trial.Values{"ratio": ratio, "set_voltage_v": volts + 0.04}, "set_voltage_v"))
	require.Empty(t, w.wrongIn("entered", trial.Values{"ratio": ratio, "set_voltage_v": volts - 0.05}))
}
