package contest

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
	"belay/internal/units"
	"belay/internal/virtualrig"
)

// TestNoStrategyPassesALimit checks the trials themselves, not through the
// code that enforces the limits.
func TestNoStrategyPassesALimit(t *testing.T) {
	for _, v := range []virtualrig.Variant{virtualrig.Own, virtualrig.Worst} {
		o := options(t, 2, v, Strategies()...)
		seeds, err := population(o)
		require.NoError(t, err)
		for _, seed := range seeds {
			e := newEntry(o, seed)
			for _, s := range strategies {
				b := e.bout()
				s.find(b)
				audit(t, b, s.name)
			}
		}
	}
}

func audit(t *testing.T, b *bout, name string) {
	t.Helper()
	l := b.in.Limits
	var ratio units.Ratio // the highest that ran clean
	var volt units.Volt   // the highest that was used
	for i, x := range b.in.Trials {
		s := x.Settings
		if i >= len(b.start.Trials) {
			require.LessOrEqual(t, s.Ratio, ratio+l.RatioStep, "%s, trial %d", name, x.N)
			require.LessOrEqual(t, float64(s.SetVoltage), float64(volt+l.VoltStep)+1e-9, "%s, trial %d", name, x.N)
			require.LessOrEqual(t, float64(s.SetVoltage), float64(l.CoreCeiling+l.SetAbove)+1e-9)
			real := b.rig.Strain(s, x.Load, x.Minutes)
			require.LessOrEqual(t, float64(real.LoadVoltage), float64(l.CoreCeiling)+0.020, "beyond what a meter may be off by")
		}
		if x.Outcome == trial.Clean {
			ratio = max(ratio, s.Ratio)
		}
		if x.Outcome != trial.NoBoot && !x.Outcome.Hot() {
			volt = max(volt, s.SetVoltage)
		}
	}
}

func TestCosts(t *testing.T) {
	o := options(t, 1, virtualrig.Own, "guided")
	e := newEntry(o, 5)
	b := e.bout()
	s := b.at(e.base.Ratio, e.base.SetVoltage)
	require.Equal(t, s, b.in.Settings, "the opening ends with these settings")
	first := b.run(s, trial.Scalar, 30)
	require.Equal(t, trial.Clean, first.Outcome)
	require.InDelta(t, 0.5, b.hours, 1e-9, "nothing changed")
	weak := b.at(e.base.Ratio, 0.8)
	require.Equal(t, trial.NoBoot, b.run(weak, trial.Scalar, 30).Outcome)
	require.InDelta(t, 0.5+5.0/60+8.0/60, b.hours, 1e-9, "a change and a crash")
	b.run(s, trial.Scalar, 60)
	require.InDelta(t, 1.5+10.0/60+8.0/60, b.hours, 1e-9, "and the change back")
	require.Equal(t, 3, b.trials)
	require.Equal(t, 1, b.crashes)
	x := b.rig.Strain(s, trial.Scalar, 60)
	require.InDelta(t, float64(x.LoadVoltage), b.loadVoltage, 1e-9)
	require.InDelta(t, float64(x.CoreTemp-b.in.Limits.TempLimit), b.overLimit, 1e-9)
	require.Len(t, e.start.Trials, len(b.in.Trials)-3, "one bout leaves nothing to the next")
}

// The oracle's setting meets the target, and one step more of ratio or 1 mV
// less does not.
func TestOracle(t *testing.T) {
	o := options(t, 4, virtualrig.PerCore, "guided")
	seeds, err := population(o)
	require.NoError(t, err)
	judged := 0
	for _, seed := range seeds {
		e := newEntry(o, seed)
		if e.base.SetVoltage == 0 || e.best.ratio == 0 {
			continue
		}
		judged++
		l := e.start.Limits
		s := e.base
		s.Ratio, s.VoltageMode = units.Ratio(e.best.ratio), "static"
		s.SetVoltage = leastSetting(e.rig, s, l.SetCeiling(), 500)
		require.GreaterOrEqual(t, e.rig.TrueMTBF(s, trial.Scalar), 500.0)
		s.SetVoltage -= 0.001
		require.Less(t, e.rig.TrueMTBF(s, trial.Scalar), 500.0)
		s.Ratio++
		s.SetVoltage = leastSetting(e.rig, s, l.SetCeiling(), 500)
		x := e.rig.Strain(s, trial.Scalar, 1000)
		require.True(t, s.SetVoltage == 0 || x.LoadVoltage > l.CoreCeiling || x.CoreTemp > l.TempLimit || x.Power > l.PowerLimit || x.Ratio < float64(s.Ratio))
	}
	require.Positive(t, judged)
}

func TestTallyCountsByHand(t *testing.T) {
	sure, unsure := 0.95, 0.42
	got := tally("x", []score{
		{hours: 1, trials: 3, crashes: 0, loadVoltage: 1.3, overLimit: -4, met: true, ratioLost: 0, overOracle: 10, confidence: &sure},
		{hours: 3, trials: 5, crashes: 4, loadVoltage: 1.2, overLimit: -1, met: false, ratioLost: 1, overOracle: -4, confidence: &sure},
		{hours: 2, trials: 4, crashes: 2, loadVoltage: 1.1, overLimit: -2, met: true, ratioLost: 2, overOracle: 0, confidence: &unsure},
		{hours: 9, trials: 0, crashes: 0, loadVoltage: 0, overLimit: -9, met: true, ratioLost: 0, overOracle: 6},
	})
	half, one := 0.5, 1.0
	want := Tally{
		Name: "x", HoursMedian: 2.5, HoursP90: 7.2, TrialsMean: 3, CrashesMean: 1.5, CrashesP90: 3.4, TargetMetShare: 0.75,
		RatioRegret: 0.75, OverOracleMV: 3, MaxLoadVoltage: 1.3, MaxOverLimitC: -1,
	}
	for i := range bins {
		b := Bin{StatedLow: float64(i) / 10, StatedHigh: float64(i+1) / 10}
		switch i {
		case 4:
			b.Rigs, b.TrueShare = 1, &one
		case 9:
			b.Rigs, b.TrueShare = 2, &half
		}
		want.Calibration = append(want.Calibration, b)
	}
	require.Equal(t, want, got)
}
