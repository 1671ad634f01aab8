package stability

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
	"belay/internal/units"
)

// climb is a short climb at ratios 47 to 49 with its edge found.
func climb() []Observation {
	return []Observation{
		obsAt(trial.Scalar, 47, 1190, 10),
		obsAt(trial.Scalar, 48, 1190, 10).failedAt(4.2, 4.2),
		obsAt(trial.Scalar, 48, 1210, 10),
		obsAt(trial.Scalar, 49, 1225, 10).failedAt(0.4, 0.4),
		obsAt(trial.Scalar, 49, 1245, 10).failedAt(6.5, 6.5),
		obsAt(trial.Scalar, 49, 1255, 10),
	}
}

// What a trial is said to be worth is what a new fit finds afterwards, averaged
// over its outcomes.
func TestWorthMatchesNewFits(t *testing.T) {
	for _, loads := range [][2]trial.Load{
		{trial.Scalar, trial.Scalar}, {trial.WideVector, trial.Scalar},
		{trial.Scalar, trial.WideVector}, {trial.Mixed, trial.WideVector}, {trial.WideVector, trial.WideVector},
	} {
		history := append(climb(), obsAt(trial.WideVector, 49, 1262, 10).failedAt(3, 3))
		p := mustFit(t, history...)
		keep := Keep{Load: loads[1], Ratio: 49, LoadVoltage: 1.300, TargetH: 500}
		plan := obsAt(loads[0], 49, 1258, 10)
		w, err := p.WorthOf(plan, keep)
		require.NoError(t, err)
		require.InDelta(t, p.PassProbability(plan.Load, 49, plan.LoadVoltage, 0, 10), w.PassProbability, 0.01)
		require.InDelta(t, p.Confidence(keep.Load, 49, keep.LoadVoltage, 0, 500), w.Confidence, 1e-12)
		after := func(o Observation) float64 {
			q := mustFit(t, append(append([]Observation{}, history...), o)...)
			return q.Confidence(keep.Load, 49, keep.LoadVoltage, 0, 500)
		}
		require.InDelta(t, after(plan), w.IfClean, 0.02, "%v", loads)
		mean := w.PassProbability*w.IfClean + (1-w.PassProbability)*w.IfFailed
		require.InDelta(t, w.Confidence, mean, 1e-3, "no outcome counted twice")
		require.Less(t, w.IfFailed, w.IfClean)
		require.Less(t, w.SDExpected, w.SDNow)
		require.Greater(t, w.Nats, 0.0)
	}
}

// A shadow trial below the keep teaches more about it per minute than a trial
// at the keep, where nothing is expected to fail.
func TestShadowTrialTeachesMore(t *testing.T) {
	p := mustFit(t, climb()...)
	keep := Keep{Load: trial.Scalar, Ratio: 49, LoadVoltage: p.Need(trial.Scalar, 49, 0, 500, 0.9), TargetH: 500}
	at := func(mvBelow float64) Worth {
		o := obsAt(trial.Scalar, 49, keep.LoadVoltage.Millivolts()-mvBelow, 10)
		w, err := p.WorthOf(o, keep)
		require.NoError(t, err)
		return w
	}
	require.Greater(t, at(45).Nats, 10*at(0).Nats)
	require.Greater(t, at(45).Nats, at(150).Nats, "a trial that surely fails teaches nothing")
}

func TestSoakToClaim(t *testing.T) {
	p := mustFit(t, climb()...)
	v := p.Need(trial.Scalar, 49, 0, 500, 0.7)
	before := p.Confidence(trial.Scalar, 49, v, 0, 500)
	minutes, ok := p.SoakToClaim(trial.Scalar, 49, v, 0, 500, 0.75)
	require.True(t, ok)
	require.Greater(t, float64(minutes), 10.0)
	t.Log("soak:", minutes)
	soak := Observation{Load: trial.Scalar, Ratio: 49, LoadVoltage: v, PlannedMinutes: minutes, Kind: Clean}
	q := mustFit(t, append(climb(), soak)...)
	require.InDelta(t, 0.75, q.Confidence(trial.Scalar, 49, v, 0, 500), gridError)
	require.InDelta(t, 0.7, before, 0.01)

	none, ok := p.SoakToClaim(trial.Scalar, 49, v, 0, 500, before-0.01)
	require.True(t, ok)
	require.Zero(t, none, "claimed already")
	most, ok := p.SoakToClaim(trial.Scalar, 49, v-0.04, 0, 500, 0.99)
	require.False(t, ok)
	require.Equal(t, units.Minutes(48*60), most)
}

// Thin evidence says so and names the trial that helps most.
func TestWarnings(t *testing.T) {
	empty := mustFit(t)
	require.Contains(t, empty.Warnings(trial.Scalar, 47)[0], "Not enough evidence yet")
	require.Len(t, empty.Warnings(trial.Scalar, 47), 1)

	clean := mustFit(t, obsAt(trial.Scalar, 47, 1250, 10))
	warnings := clean.NeedBand(trial.Scalar, 47, 0, 500).Warnings
	require.Contains(t, warnings[len(warnings)-1], "No trial has failed yet")

	climbed := mustFit(t, climb()...)
	require.Empty(t, climbed.Warnings(trial.Scalar, 49))
	far := climbed.Warnings(trial.Scalar, 53)
	require.NotEmpty(t, far)
	require.Contains(t, far[len(far)-1], "The nearest trial is 400 MHz away")
	require.Contains(t, climbed.Warnings(trial.Load("other"), 49)[0], "not known")
}
