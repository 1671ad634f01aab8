package session

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
	"belay/internal/units"
)

// The time left shrinks as the work goes on, and never below the present step.
func TestTimeLeft(t *testing.T) {
	s := begin(t).state()
	before := s.Outlook().Left
	low, high := 0.0, 0.0
	for _, st := range s.graph.Stages {
		low, high = low+float64(st.Minutes[0]), high+float64(st.Minutes[1])
	}
	require.Equal(t, low, before.Low)
	require.Equal(t, high, before.High)
	require.Equal(t, "From here it usually takes 6 h to 18 h in all. Most of that is waiting, and you can stop at any time.", before.Sentence)

	s.At = "core.run"
	s.Proposal = &trial.Proposal{Load: trial.Scalar, Minutes: 10}
	fresh := s.Outlook().Left
	require.Less(t, fresh.High, before.High)
	require.Equal(t, 10.0, fresh.Step)
	for n, o := range []trial.Outcome{trial.Clean, trial.Froze} {
		s.Trials = append(s.Trials, trial.Trial{N: n + 1, Stage: "core", Outcome: o, Minutes: 10})
	}
	worked := s.Outlook().Left
	require.InDelta(t, fresh.Low-(10+5+10+5+8), worked.Low, 1e-9)
	for n := range 60 {
		s.Trials = append(s.Trials, trial.Trial{N: n + 3, Stage: "core", Outcome: trial.Clean, Minutes: 30})
	}
	over := s.Outlook().Left
	require.Less(t, over.Low, worked.Low)
	require.Greater(t, over.High, over.Low)
}

func TestRough(t *testing.T) {
	for minutes, want := range map[float64]string{2: "5 min", 12: "10 min", 50: "45 min", 200: "3 h 30 min", 610: "10 h"} {
		require.Equal(t, want, rough(minutes))
	}
}

// A clean hour raises the confidence of the keep, a failure lowers it, and the
// bound without a model is that of NIST/SEMATECH e-Handbook 8.4.5.1: hours over
// -ln(0.05) = 2.996.
func TestFurtherHour(t *testing.T) {
	s := begin(t).state()
	require.Nil(t, s.Outlook().Further, "there is nothing to keep yet")
	s.At = "core.done"
	s.Machine = trial.Machine{Cores: 10, StockRatio: 47, BaseClock: 100, TempLimit: 100}
	run := func(stage string, ratio int, v, load float64, o trial.Outcome, minutes float64) {
		s.Trials = append(s.Trials, trial.Trial{
			N: len(s.Trials) + 1, Stage: stage, Load: trial.Scalar, PlannedMinutes: units.Minutes(minutes), Minutes: units.Minutes(minutes), Outcome: o,
			Settings: trial.Settings{Ratio: units.Ratio(ratio), SetVoltage: units.Volt(v), VoltageMode: "static"},
			Readings: trial.Readings{LoadVoltage: units.Volt(load), CoreTemp: 75, PackagePower: 190, AirTemp: 23, Clock: units.Megahertz(ratio * 100)},
		})
	}
	run("baseline", 0, 0, 1.08, trial.Clean, 10)
	s.Trials[0].Readings.Clock = 4700
	run("core", 49, 1.18, 1.15, trial.Clean, 10)
	run("core", 50, 1.18, 1.15, trial.Error, 2)
	run("core", 50, 1.20, 1.17, trial.Clean, 10)
	run("core", 50, 1.19, 1.16, trial.Error, 4)
	run("core", 51, 1.22, 1.19, trial.Froze, 1)
	run("core", 51, 1.25, 1.22, trial.Clean, 10)
	run("core", 50, 1.21, 1.18, trial.Clean, 30)
	s.Endings = map[string]trial.Ending{"core": {Search: "core", Keep: trial.Settings{Ratio: 50, SetVoltage: 1.23, VoltageMode: "static"}}}
	f := s.Outlook().Further
	require.NotNil(t, f)
	require.Greater(t, f.PassProbability, 0.5)
	require.Greater(t, f.Confidence[1], f.Confidence[0])
	require.Less(t, f.Confidence[2], f.Confidence[0])
	clean := s.proof(s.Keep().Keep, nil).CleanHours
	require.InDelta(t, clean/2.995732, f.ModelFreeH[0], 0.001)
	require.InDelta(t, (clean+1)/2.995732, f.ModelFreeH[1], 0.001)
	require.Contains(t, f.Sentence, "A further hour of all-core load at the keep runs clean with a chance of about")
}

func TestFurtherSays(t *testing.T) {
	f := &Further{Minutes: 60, PassProbability: 0.96, Confidence: [3]float64{0.6, 0.72, 0.2}, ModelFreeH: [2]float64{0.3, 0.5}}
	require.Equal(t, "A further hour of all-core load at the keep runs clean with a chance of about 96 %. Then the confidence goes from 60 % to 72 %. "+
		"A failure would bring it to 20 %. Without any model, a clean hour shows at least 30 min between failures.", f.say())
	f.Confidence = [3]float64{0.995, 0.999, 0.98}
	require.Contains(t, f.say(), "stays at 99 %: it needs no further run.")
	f.Confidence = [3]float64{0.601, 0.603, 0.2}
	require.Contains(t, f.say(), "stays near 60 %: a trial below the keep teaches more.")
}
