package session

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
)

// core enters the proposed settings and reports one trial of them.
func (w *walker) core(outcome trial.Outcome, minutes float64) *State {
	w.t.Helper()
	p := w.state().Proposal
	require.NotNil(w.t, p)
	w.answer("entered", trial.Values{
		"ratio": float64(p.Settings.Ratio), "set_voltage_v": float64(p.Settings.SetVoltage),
	})
	e := p.Expect
	w.report(trial.Values{
		"outcome": string(outcome), "minutes": minutes, "minutes_to_failure": minutes, "load_voltage_v": e.LoadVoltage[1],
		"core_temp_c": e.CoreTemp[1], "air_temp_c": 22.0, "package_power_w": e.PackagePower[1],
		"clock_mhz": float64(p.Settings.Ratio) * 100, "scores": []trial.Row{{"score": 1120}, {"score": 1124}, {"score": 1117}},
	})
	return w.state()
}

// TestEvidenceTellsWhereItStands runs two core trials of an invented PC and
// reads what the evidence, the step and the sentence of proof say of them.
func TestEvidenceTellsWhereItStands(t *testing.T) {
	w := begin(t)
	s := w.toCore()
	require.Equal(t, 48, s.Evidence().Now.LastTrial.Ratio, "the load line was read at the delivered ratio")
	s = w.core(trial.Clean, 10)
	now := s.Evidence().Now
	require.NotNil(t, now.LastTrial)
	require.Equal(t, len(s.Trials), now.LastTrial.Trial)
	require.EqualValues(t, s.Trials[len(s.Trials)-1].Settings.Ratio, now.LastTrial.Ratio)
	require.LessOrEqual(t, now.LastTrial.After.Q50, now.LastTrial.Before.Q50, "a clean trial asks for no more voltage")
	require.Less(t, now.LastTrial.After.Q95-now.LastTrial.After.Q05, now.LastTrial.Before.Q95-now.LastTrial.Before.Q05)
	require.Empty(t, now.Odd)
	require.NotNil(t, now.Wear)
	require.Greater(t, now.Wear.High, now.Wear.Low)
	if s.Proposal != nil && s.Proposal.Expect != nil {
		require.Equal(t, s.Proposal.Expect, now.Next)
	}
	proof := s.Evidence().Proof
	require.Contains(t, proof.NotProven, "wide-vector load")
	require.Contains(t, proof.NotProven, "a room hotter than 22 °C")
	for _, line := range append(now.Sentences, proof.NotProven) {
		for _, sentence := range regexp.MustCompile(`\. `).Split(line, -1) {
			require.LessOrEqual(t, len(strings.Fields(sentence)), 25, sentence)
		}
	}
	var said []string
	for _, m := range s.Prompt().Messages {
		if m.Kind == "evidence" {
			said = append(said, m.Text)
		}
	}
	if s.Here().Trial || s.Here().Plan != "" {
		require.NotEmpty(t, said)
		require.Subset(t, now.Sentences, said)
	}
}
