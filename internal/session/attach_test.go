package session

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/trial"
)

func testGraph(t *testing.T) *flow.Graph {
	t.Helper()
	g, err := flow.Load(os.DirFS("../../flows"), "desktop")
	require.NoError(t, err)
	return g
}

func TestReadingsTakenOverTime(t *testing.T) {
	s := &State{graph: testGraph(t), keys: map[string]int64{}}
	s.At = "rig.describe"
	s.Trials = []trial.Trial{{N: 1, Outcome: trial.Clean, Readings: trial.Readings{CoreTemp: 60, Score: 7}}}
	p := event.ReadingsAttached{N: 1, Source: "log a.csv", Readings: trial.Readings{LoadVoltage: 1.1, CoreTemp: 71}, Key: "k"}
	got, err := s.Attach(p)
	require.NoError(t, err)
	before := s.Trials
	require.NoError(t, s.apply(got[0]))
	require.InDelta(t, 71, float64(s.Trials[0].Readings.CoreTemp), 0)
	require.InDelta(t, 1.1, float64(s.Trials[0].Readings.LoadVoltage), 0)
	require.InDelta(t, 7, s.Trials[0].Readings.Score, 0, "what the log does not hold stays")
	require.Equal(t, map[string]string{"core_temp_c": "log a.csv", "load_voltage_v": "log a.csv"}, s.Trials[0].Sources)
	require.InDelta(t, 60, float64(before[0].Readings.CoreTemp), 0, "states share their past")
	_, done := s.KeyVersion("k")
	require.True(t, done)

	for _, n := range []int{0, 3} {
		_, err = s.Attach(event.ReadingsAttached{N: n, Readings: trial.Readings{CoreTemp: 50}})
		require.True(t, fault.Is(err, fault.NotFound), n)
	}
	_, err = s.Attach(event.ReadingsAttached{N: 1})
	require.True(t, fault.Is(err, fault.Invalid), "nothing read")
	s.Trials[0].Settings = trial.Settings{VoltageMode: "static", SetVoltage: 1.0}
	_, err = s.Attach(event.ReadingsAttached{N: 1, Readings: trial.Readings{LoadVoltage: 1.3}})
	require.True(t, fault.Is(err, fault.Invalid), "load voltage far above the set one")

	// Undo restores what was before, then the log once more.
	s.Trials = before
	s.Attached[2] = event.ReadingsAttached{N: 2, Readings: trial.Readings{CoreTemp: 90}}
	s.attachAgain()
	require.InDelta(t, 71, float64(s.Trials[0].Readings.CoreTemp), 0)
	require.NotContains(t, s.Attached, 2, "a trial that is gone takes its log with it")
}

func TestReadingsOfTheTrialThatRunsAreOffered(t *testing.T) {
	s := &State{graph: testGraph(t), keys: map[string]int64{}}
	for _, st := range s.graph.States {
		if st.Trial {
			s.At = st.ID
			break
		}
	}
	s.Proposal = &trial.Proposal{}
	got, err := s.Attach(event.ReadingsAttached{N: 1, Source: "log", Readings: trial.Readings{CoreTemp: 70.6, PackagePower: 120.4}})
	require.NoError(t, err)
	require.NoError(t, s.apply(got[0]))
	v, from := s.readFor("core_temp_c")
	require.InDelta(t, 71, v, 0, "rounded as a person would type it")
	require.Equal(t, "log", from)
	v, _ = s.readFor("load_voltage_v")
	require.Nil(t, v)

	typed := trial.Trial{N: 1, Readings: trial.Readings{CoreTemp: 71, PackagePower: 99}}
	s.addAttached(&typed, trial.Values{"core_temp_c": 71.0, "package_power_w": 99.0})
	require.InDelta(t, 70.6, float64(typed.Readings.CoreTemp), 0, "the same value, read more closely")
	require.InDelta(t, 99, float64(typed.Readings.PackagePower), 0, "what was typed stays")
	require.Equal(t, map[string]string{"core_temp_c": "log"}, typed.Sources)
}

func TestValuesOfThePCAreOfferedWhereTheyFit(t *testing.T) {
	s := &State{graph: testGraph(t), keys: map[string]int64{}}
	require.NoError(t, s.apply(event.MachineRead{
		Values:  trial.Values{"core_count": 8.0, "base_clock_mhz": 99.98, "temp_limit_c": 999.0, "firmware_version": "F12"},
		Sources: map[string]string{"core_count": "proc/cpuinfo"},
	}))
	s.At = "rig.describe"
	v, from := s.readFor("core_count")
	require.InDelta(t, 8, v, 0)
	require.Equal(t, "proc/cpuinfo", from)
	v, _ = s.readFor("firmware_version")
	require.Equal(t, "F12", v)
	v, _ = s.readFor("temp_limit_c")
	require.Nil(t, v, "out of the field's range")
	s.Practice = &event.Practice{}
	v, _ = s.readFor("core_count")
	require.Nil(t, v, "a simulated PC is not this one")
	s.Practice, s.At = nil, "baseline.enter"
	v, _ = s.readFor("firmware_version")
	require.Nil(t, v, "what has to be read on the screen is not filled in")
}
