package stability

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"belay/internal/trial"
	"belay/internal/units"
)

// Two fits lay two grids; their confidences agree to this.
const gridError = 0.02

// drawHistory is a climb of a rig drawn from the prior, with at most one odd
// failure put in.
func drawHistory(t *rapid.T) []Observation {
	rnd := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "rig"), 1))
	g := drawRig(DefaultPrior(47, 1.30), rnd)
	history := g.history(rapid.IntRange(0, 12).Draw(t, "trials"), rnd)
	if rapid.Bool().Draw(t, "odd") {
		history = append(history, drawObservation(t).failedAt(0, 1))
	}
	return history
}

// drawObservation is a clean run anywhere, likely or not.
func drawObservation(t *rapid.T) Observation {
	return Observation{
		Load:           rapid.SampledFrom(trial.Loads).Draw(t, "load"),
		Ratio:          units.Ratio(rapid.IntRange(45, 52).Draw(t, "ratio")),
		LoadVoltage:    units.Volt(rapid.Float64Range(1.0, 1.4).Draw(t, "voltage")),
		CoreTemp:       units.Celsius(rapid.SampledFrom([]float64{0, 60, 75, 90}).Draw(t, "temp")),
		PlannedMinutes: units.Minutes(rapid.SampledFrom([]float64{1, 5, 10, 30, 480}).Draw(t, "minutes")),
		Kind:           Clean,
	}
}

// drawAnything is a history that no machine would give.
func drawAnything(t *rapid.T) []Observation {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Observation {
		o := drawObservation(t)
		switch rapid.IntRange(0, 5).Draw(t, "end") {
		case 0:
			o = o.failedAt(0, o.PlannedMinutes)
		case 1:
			tau := o.PlannedMinutes * units.Minutes(rapid.Float64Range(0.01, 1).Draw(t, "tau"))
			o = o.failedAt(tau, tau)
		case 2:
			o = o.failedAt(0, 1)
			o.AtOnce = true
		}
		return o
	}), 0, 12).Draw(t, "history")
}

type question struct {
	load    trial.Load
	ratio   units.Ratio
	v       units.Volt
	targetH float64
}

func drawQuestion(t *rapid.T) question {
	return question{
		rapid.SampledFrom(trial.Loads).Draw(t, "asked load"),
		units.Ratio(rapid.IntRange(45, 52).Draw(t, "asked ratio")),
		units.Volt(rapid.Float64Range(1.0, 1.4).Draw(t, "asked voltage")),
		rapid.SampledFrom([]float64{1.0 / 6, 10, 500, 2000}).Draw(t, "target"),
	}
}

func mustFit(t require.TestingT, obs ...Observation) *Posterior {
	p, err := Fit(DefaultPrior(47, 1.30), obs)
	require.NoError(t, err)
	return p
}

func TestMoreVoltageNeverLowersConfidence(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, q := mustFit(t, drawHistory(t)...), drawQuestion(t)
		more := q.v + units.Volt(rapid.Float64Range(0, 0.1).Draw(t, "more"))
		require.LessOrEqual(t, p.Confidence(q.load, q.ratio, q.v, 0, q.targetH), p.Confidence(q.load, q.ratio, more, 0, q.targetH)+1e-9)
		require.LessOrEqual(t, p.PassProbability(q.load, q.ratio, q.v, 0, 10), p.PassProbability(q.load, q.ratio, more, 0, 10)+1e-9)
	})
}

func TestCleanNeverLowersConfidenceAtItsSetting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		history, q := drawHistory(t), drawQuestion(t)
		clean := Observation{Load: q.load, Ratio: q.ratio, LoadVoltage: q.v, PlannedMinutes: 30, Kind: Clean}
		p := mustFit(t, history...)
		before := p.Confidence(q.load, q.ratio, q.v, 0, q.targetH)
		require.NoError(t, p.Update(clean))
		require.GreaterOrEqual(t, p.Confidence(q.load, q.ratio, q.v, 0, q.targetH), before-gridError)
	})
}

func TestFailureNeverRaisesConfidenceAtItsSetting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		history, q := drawHistory(t), drawQuestion(t)
		failed := Observation{Load: q.load, Ratio: q.ratio, LoadVoltage: q.v, PlannedMinutes: 30, FailedTo: 30, Kind: Failed}
		p := mustFit(t, history...)
		before := p.Confidence(q.load, q.ratio, q.v, 0, q.targetH)
		require.NoError(t, p.Update(failed))
		require.LessOrEqual(t, p.Confidence(q.load, q.ratio, q.v, 0, q.targetH), before+gridError)
	})
}

func TestOrderDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		history, q := drawHistory(t), drawQuestion(t)
		shuffled := rapid.Permutation(history).Draw(t, "shuffled")
		a := mustFit(t, history...).Confidence(q.load, q.ratio, q.v, 0, q.targetH)
		b := mustFit(t, shuffled...).Confidence(q.load, q.ratio, q.v, 0, q.targetH)
		require.Equal(t, a, b)
		one := mustFit(t)
		for _, o := range history {
			require.NoError(t, one.Update(o))
		}
		require.Equal(t, a, one.Confidence(q.load, q.ratio, q.v, 0, q.targetH), "one by one is the same as all at once")
	})
}

func TestVoidChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		history, q := drawHistory(t), drawQuestion(t)
		void := Observation{Load: q.load, Ratio: q.ratio, LoadVoltage: q.v, PlannedMinutes: 30, Kind: Void}
		p := mustFit(t, history...)
		want := p.Confidence(q.load, q.ratio, q.v, 0, q.targetH)
		require.Equal(t, want, mustFit(t, append(history, void)...).Confidence(q.load, q.ratio, q.v, 0, q.targetH))
		require.NoError(t, p.Update(void))
		require.Equal(t, want, p.Confidence(q.load, q.ratio, q.v, 0, q.targetH))
		require.LessOrEqual(t, p.Trials(), len(history))
	})
}

// Whatever the history, even a contradictory one, the answers are numbers in
// their range and agree with each other.
func TestAnswersAreSound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, q := mustFit(t, drawAnything(t)...), drawQuestion(t)
		band := p.NeedBand(q.load, q.ratio, 0, q.targetH)
		require.Less(t, band.Target.Q05, band.Target.Q50)
		require.Less(t, band.Target.Q50, band.Target.Q95)
		if q.targetH > 1 {
			require.Greater(t, band.Target.Q50, band.TenMinutes.Q50)
		}
		require.InDelta(t, 0.95, p.Confidence(q.load, q.ratio, band.Target.Q95, 0, q.targetH), 0.01)
		total := 0.0
		for _, w := range p.class(classOf(q.load)).now.weight {
			total += w
		}
		require.InDelta(t, 1, total, 1e-9)
		pass := p.PassProbability(q.load, q.ratio, q.v, 0, 10)
		require.False(t, math.IsNaN(pass) || pass < 0 || pass > 1)
		lo, mid, hi := p.SlopePerDecade()
		require.True(t, 0 < lo && lo < mid && mid < hi && hi < 200)
	})
}
