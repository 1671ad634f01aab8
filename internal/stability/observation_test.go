package stability

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/trial"
	"belay/internal/units"
)

func TestFromTrial(t *testing.T) {
	base := trial.Trial{
		Load: trial.Scalar, Settings: trial.Settings{Ratio: 50, WideVectorOffset: 2}, PlannedMinutes: 10,
		Readings: trial.Readings{LoadVoltage: 1.2, CoreTemp: 70},
	}
	with := func(change func(*trial.Trial)) trial.Trial { c := base; change(&c); return c }
	span := func(kind Kind, plan, from, to units.Minutes) Observation {
		return Observation{
			Load: trial.Scalar, Ratio: 50, LoadVoltage: 1.2, CoreTemp: 70,
			PlannedMinutes: plan, FailedFrom: from, FailedTo: to, Kind: kind,
		}
	}
	for name, c := range map[string]struct {
		trial trial.Trial
		want  Observation
		ok    bool
	}{
		"clean":                       {with(func(t *trial.Trial) { t.Outcome = trial.Clean }), span(Clean, 10, 0, 0), true},
		"clean, time as run":          {with(func(t *trial.Trial) { t.Outcome, t.Minutes = trial.Clean, 12 }), span(Clean, 12, 0, 0), true},
		"too hot ran clean so far":    {with(func(t *trial.Trial) { t.Outcome, t.Minutes = trial.TooHot, 4 }), span(Clean, 4, 0, 0), true},
		"throttled ran clean":         {with(func(t *trial.Trial) { t.Outcome, t.Minutes = trial.Throttled, 10 }), span(Clean, 10, 0, 0), true},
		"too hot, time unknown":       {with(func(t *trial.Trial) { t.Outcome = trial.TooHot }), span(Void, 0, 0, 0), false},
		"stopped says nothing":        {with(func(t *trial.Trial) { t.Outcome, t.Minutes = trial.Stopped, 9 }), span(Void, 10, 0, 0), false},
		"failed at an exact time":     {with(func(t *trial.Trial) { t.Outcome, t.Minutes = trial.Froze, 7.3 }), span(Failed, 10, 7.3, 7.3), true},
		"failed at a rounded time":    {with(func(t *trial.Trial) { t.Outcome, t.Minutes = trial.Error, 7 }), span(Failed, 10, 6, 8), true},
		"failed in the first minute":  {with(func(t *trial.Trial) { t.Outcome, t.Minutes = trial.Error, 1 }), span(Failed, 10, 0, 2), true},
		"rounded up past the plan":    {with(func(t *trial.Trial) { t.Outcome, t.Minutes = trial.Error, 10 }), span(Failed, 11, 9, 11), true},
		"failed at once or unknown":   {with(func(t *trial.Trial) { t.Outcome = trial.Reset }), span(Failed, 10, 0, 10), true},
		"failed at an unknown time":   {with(func(t *trial.Trial) { t.Outcome, t.Minutes, t.TimeUnknown = trial.Reset, 3, true }), span(Failed, 10, 0, 10), true},
		"no load voltage":             {with(func(t *trial.Trial) { t.Outcome, t.Readings.LoadVoltage = trial.Clean, 0 }), Observation{}, false},
		"no ratio":                    {with(func(t *trial.Trial) { t.Outcome, t.Settings.Ratio = trial.Clean, 0 }), Observation{}, false},
		"an unknown load":             {with(func(t *trial.Trial) { t.Outcome, t.Load = trial.Clean, "other" }), Observation{}, false},
		"an unknown outcome is void":  {with(func(t *trial.Trial) { t.Outcome = "other" }), span(Void, 10, 0, 0), false},
		"a failure of an endless run": {with(func(t *trial.Trial) { t.Outcome, t.Minutes = trial.Error, units.Minutes(math.Inf(1)) }), Observation{}, false},
	} {
		got, ok := FromTrial(c.trial)
		require.Equal(t, c.ok, ok, name)
		if c.want.Kind != "" {
			require.Equal(t, c.want, got, name)
		}
	}

	noBoot, ok := FromTrial(with(func(t *trial.Trial) { t.Outcome = trial.NoBoot }))
	require.True(t, ok)
	require.True(t, noBoot.AtOnce)
	require.Equal(t, units.Minutes(1), noBoot.FailedTo)
	wide, ok := FromTrial(with(func(t *trial.Trial) { t.Outcome, t.Load = trial.Clean, trial.WideVector }))
	require.True(t, ok)
	require.Equal(t, units.Ratio(48), wide.Ratio, "the ratio after the wide-vector offset")
}

func TestRefusesObservations(t *testing.T) {
	good := obsAt(trial.Scalar, 50, 1200, 10)
	p := mustFit(t, good)
	before := p.Confidence(trial.Scalar, 50, 1.2, 0, 500)
	for name, o := range map[string]Observation{
		"no time":           obsAt(trial.Scalar, 50, 1200, 0),
		"negative time":     obsAt(trial.Scalar, 50, 1200, -1),
		"endless":           obsAt(trial.Scalar, 50, 1200, units.Minutes(math.Inf(1))),
		"no voltage":        obsAt(trial.Scalar, 50, 0, 10),
		"odd voltage":       obsAt(trial.Scalar, 50, math.NaN(), 10),
		"odd load":          obsAt("other", 50, 1200, 10),
		"odd kind":          {Load: trial.Scalar, Ratio: 50, LoadVoltage: 1.2, PlannedMinutes: 10, Kind: "other"},
		"failed at 0":       good.failedAt(0, 0),
		"ends before start": good.failedAt(5, 4),
		"after the plan":    good.failedAt(11, 12),
	} {
		require.True(t, fault.Is(p.Update(o), fault.Invalid), name)
		_, err := Fit(DefaultPrior(47, 1.3), []Observation{o})
		require.True(t, fault.Is(err, fault.Invalid), name)
		_, err = p.WorthOf(o, Keep{Load: trial.Scalar, Ratio: 50, LoadVoltage: 1.2, TargetH: 500})
		if o.Kind == Clean {
			require.True(t, fault.Is(err, fault.Invalid), name)
		}
	}
	require.Equal(t, before, p.Confidence(trial.Scalar, 50, 1.2, 0, 500), "a refused observation changes nothing")
	require.Equal(t, 1, p.Trials())
}

func TestRefusesPriors(t *testing.T) {
	for name, change := range map[string]func(*Prior){
		"eps":           func(p *Prior) { p.Eps = 0.5 },
		"no eps":        func(p *Prior) { p.Eps = 0 },
		"spread":        func(p *Prior) { p.BSD = 0 },
		"slope":         func(p *Prior) { p.SMedian = -0.006 },
		"not a number":  func(p *Prior) { p.KT = units.Volt(math.NaN()) },
		"base clock":    func(p *Prior) { p.BaseClock = 0 },
		"offset":        func(p *Prior) { p.Offsets = map[trial.Load]Offset{trial.Cache: {}} },
		"unknown class": func(p *Prior) { p.Offsets = map[trial.Load]Offset{"other": {SD: 0.01}} },
	} {
		p := DefaultPrior(47, 1.3)
		change(&p)
		_, err := New(p)
		require.True(t, fault.Is(err, fault.Invalid), name)
	}
	p := DefaultPrior(47, 1.3)
	p.Offsets = nil
	q, err := New(p)
	require.NoError(t, err)
	require.InDelta(t, 0, float64(q.Need(trial.Memory, 47, 0, 1, 0.5)-q.Need(trial.Scalar, 47, 0, 1, 0.5)), 1e-3, "a class without a prior has no shift")
}
