package planner

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/stability"
	"belay/internal/trial"
)

// Worked by hand: 0.65 of 2 % in 20 + 5 + 2 minutes and 0.35 of half a crash
// of 8 minutes is 1.3 % in 28.4 minutes, 2.746 % an hour.
func TestAStepIsPaidByTheHour(t *testing.T) {
	a := step{name: "a", gain: 0.02, holds: 0.65, minutes: 20}
	require.InDelta(t, 2.746, a.rate(), 1e-3)
	small := step{name: "small", gain: 0.001, holds: 0.65, minutes: 20}
	best, pays := bestStep([]step{small, a})
	require.True(t, pays)
	require.Equal(t, "a", best.name)
	_, pays = bestStep([]step{small})
	require.False(t, pays)
	_, pays = bestStep(nil)
	require.False(t, pays)
	require.InDelta(t, 0.65*0.49, holding(2), 1e-12)
}

// The memory search takes what gains most first, leaves alone what failed, and
// ends when nothing pays.
func TestMemoryStepsByGain(t *testing.T) {
	profile := trial.Settings{MemoryProfile: "on", DataRate: 3200, CL: 16, TRCD: 18, TRP: 18, TRAS: 36, DRAMVoltage: 1.35}
	in := Input{Search: "memory", Stage: "memory", Machine: machine, Limits: limits, Endings: map[string]trial.Ending{
		"memory-profile": {Search: "memory-profile", Keep: profile},
	}}
	var kinds []string
	for range 2 * mostMemory {
		p, e := Next(in)
		if e != nil {
			require.False(t, e.Blocked, e.Because)
			break
		}
		kind := moveOf(profile, p.Settings)
		kinds = append(kinds, kind)
		x := trial.Trial{N: len(kinds), Stage: "memory", Load: trial.Memory, Settings: p.Settings, PlannedMinutes: 20, Minutes: 5, Outcome: trial.Error}
		if kind == "CL" {
			x.Minutes, x.Outcome = 20, trial.Clean
			profile = p.Settings
		}
		in.Trials = append(in.Trials, x)
	}
	require.Equal(t, "data rate", kinds[0], "2.7 % against 0.5 % for CL, docs/models/memory.md")
	require.Equal(t, "CL", kinds[1])
	rates := 0
	for _, k := range kinds {
		if k == "data rate" {
			rates++
		}
	}
	require.Equal(t, 1, rates, "what failed is not tried again: %v", kinds)
	require.Less(t, len(kinds), 2*mostMemory)
}

// A law that falls at tailPace beyond the knee meets the target exactly where
// the exponential law meets the careful one.
func TestCarefulCoversASlowerTail(t *testing.T) {
	e := stability.Efolds(500)
	need := tailKnee + (e-tailKnee)/tailPace
	require.InDelta(t, need, stability.Efolds(Tuning{}.careful(500)), 1e-9)
	require.InDelta(t, 0.3, Tuning{}.careful(0.3), 1e-12, "within the evidence nothing is added")
}

func TestSpentCountsWhatIsAroundATrial(t *testing.T) {
	a, b := trial.Settings{Ratio: 50}, trial.Settings{Ratio: 51}
	trials := []trial.Trial{
		{Settings: a, Minutes: 8, Outcome: trial.Clean},                            // 2 + 5 + 8
		{Settings: a, Minutes: 3, Outcome: trial.Froze},                            // 2 + 3 + 8
		{Settings: b, PlannedMinutes: 10, TimeUnknown: true, Outcome: trial.Reset}, // 2 + 5 + 5 + 8
		{Settings: b, PlannedMinutes: 10, Minutes: 10, Outcome: trial.Clean},       // 2 + 10
	}
	require.InDelta(t, 15+13+20+12, Spent(trials), 1e-9)
}
