package event

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/trial"
)

// one is a payload of each kind.
var one = []Payload{
	SessionStarted{Title: "t", Flow: "desktop", FlowHash: "h", Practice: &Practice{Seed: 7, Variant: "own"}},
	SessionRenamed{Title: "u"},
	Answered{Prompt: "p1", State: "a.b", Action: "report", Key: "k", Values: trial.Values{
		"set_voltage_v": 1.255, "backup": "done", "clear_known": true, "scores": []trial.Row{{"score": 1000.5}},
	}},
	SettingsConfirmed{Settings: trial.Settings{Ratio: 52, SetVoltage: 1.255}},
	RestartIntended{State: "core.enter", From: trial.Settings{Ratio: 48}, To: &trial.Settings{Ratio: 49}, Expect: "x"},
	TrialStarted{N: 1, Load: trial.Scalar, Minutes: 8},
	TrialFound{N: 1, From: "crash", Values: trial.Values{"outcome": "froze"}, Says: "s", Certainty: "likely", Evidence: []string{"e"}},
	TrialEnded{Trial: trial.Trial{N: 1, Load: trial.Scalar, Outcome: trial.Froze, Minutes: 2.5}},
	Moved{From: "a", To: "b", Via: "report"},
	TrialProposed{trial.Proposal{Search: "core", Changed: []string{"ratio"}, Because: "x"}},
	SearchEnded{trial.Ending{Search: "core", Because: "y"}},
	AnswerTakenBack{Version: 3},
	MachineRead{Values: trial.Values{"core_count": 8.0}, Sources: map[string]string{"core_count": "proc/cpuinfo"}},
	ReadingsAttached{N: 1, Source: "log a.csv", Readings: trial.Readings{LoadVoltage: 1.2}, Clock: "held", WarmUp: "reached", Seconds: 60, LoadSeconds: 50},
}

func sealed(t *testing.T) []Envelope {
	t.Helper()
	e, err := Seal("s", 0, "", time.Date(2026, 3, 1, 9, 0, 0, 123456789, time.UTC), one...)
	require.NoError(t, err)
	return e
}

func TestEveryKindSurvivesTheCodec(t *testing.T) {
	require.Len(t, one, len(kinds), "a new kind needs a sample here")
	for i, e := range sealed(t) {
		got, err := Decode(e)
		require.NoError(t, err)
		require.Equal(t, one[i], got)
	}
}

func TestVerifyFindsEveryChange(t *testing.T) {
	require.NoError(t, Verify(sealed(t)))
	for name, change := range map[string]func(*Envelope){
		"body":    func(e *Envelope) { e.Body = json.RawMessage(`{"title":"v"}`) },
		"time":    func(e *Envelope) { e.Time = e.Time.Add(time.Microsecond) },
		"kind":    func(e *Envelope) { e.Kind = "moved" },
		"format":  func(e *Envelope) { e.Format = 2 },
		"session": func(e *Envelope) { e.Session = "r" },
		"version": func(e *Envelope) { e.Version++ },
		"prev":    func(e *Envelope) { e.Prev = "" },
		"hash":    func(e *Envelope) { e.Hash = e.Prev },
	} {
		t.Run(name, func(t *testing.T) {
			events := sealed(t)
			change(&events[1])
			require.True(t, fault.Is(Verify(events), fault.Corrupt))
		})
	}
	events := sealed(t)
	require.True(t, fault.Is(Verify(append(events[:3:3], events[4:]...)), fault.Corrupt), "a missing entry")
}

func TestStoredTimesSurviveJSON(t *testing.T) {
	body, err := json.Marshal(sealed(t))
	require.NoError(t, err)
	var back []Envelope
	require.NoError(t, json.Unmarshal(body, &back))
	require.NoError(t, Verify(back))
}

func TestNewerEventsAreRefused(t *testing.T) {
	e := sealed(t)[1]
	e.Kind = "session_folded"
	_, err := Decode(e)
	require.True(t, fault.Is(err, fault.Invalid))
}
