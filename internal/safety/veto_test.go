package safety

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
	"belay/internal/units"
)

// limits are those of a platform, invented round numbers.
var limits = Limits{
	CoreCeiling: 1.35, SetAbove: 0.06, DDR4Ceiling: 1.45, DDR5Ceiling: 1.40, TempLimit: 100, TempMargin: 5,
	PowerLimit: 350, SupplyShare: 0.6, RatioStep: 1, VoltStep: 0.025, CacheBelowCore: 2, SoonMinutes: 1, LoadLineDroopMV: 120,
}

func expect(v, temp, power float64) *trial.Expectation {
	return &trial.Expectation{
		LoadVoltage: trial.Interval{v, v, v}, CoreTemp: trial.Interval{temp, temp, temp}, PackagePower: trial.Interval{power, power, power},
	}
}

func static(ratio units.Ratio, mv float64) trial.Settings {
	return trial.Settings{Ratio: ratio, VoltageMode: "static", SetVoltage: units.Volt(mv / 1000)}
}

func ran(n int, s trial.Settings, outcome trial.Outcome, minutes units.Minutes) trial.Trial {
	return trial.Trial{N: n, Stage: "core", Load: trial.Scalar, Settings: s, PlannedMinutes: 8, Outcome: outcome, Minutes: minutes}
}

func rules(v []Veto) []Rule {
	var out []Rule
	for _, x := range v {
		out = append(out, x.Rule)
	}
	return out
}

func TestVet(t *testing.T) {
	held := []trial.Trial{ran(1, static(49, 1250), trial.Clean, 8)}
	calm := expect(1.22, 80, 220)
	hot := append(held, ran(2, static(50, 1270), trial.TooHot, 3))
	crashed := append(held, ran(2, static(50, 1260), trial.Froze, 0.2))
	warm := []trial.Trial{ran(1, static(49, 1250), trial.Clean, 30)}
	automatic := append(held, trial.Trial{N: 2, Load: trial.Scalar, Outcome: trial.TooHot, Minutes: 3, Readings: trial.Readings{PackagePower: 250}})
	late := append(held, ran(2, static(50, 1260), trial.Froze, 6))
	cases := []struct {
		name    string
		c       Candidate
		history []trial.Trial
		want    []Rule
	}{
		{"one step up", Candidate{Settings: static(50, 1275), Load: trial.Scalar, Expect: calm}, held, nil},
		{"two ratios up", Candidate{Settings: static(51, 1250), Load: trial.Scalar, Expect: calm}, held, []Rule{Step}},
		{"26 mV up", Candidate{Settings: static(50, 1276), Load: trial.Scalar, Expect: calm}, held, []Rule{Step}},
		{"load voltage over the ceiling", Candidate{Settings: static(50, 1260), Load: trial.Scalar, Expect: expect(1.351, 80, 220)}, held, []Rule{Ceiling}},
		{"too hot", Candidate{Settings: static(50, 1260), Load: trial.Scalar, Expect: expect(1.22, 100.5, 220)}, held, []Rule{Heat}},
		{"too much power", Candidate{Settings: static(50, 1260), Load: trial.Scalar, Expect: expect(1.22, 80, 351)}, held, []Rule{Power}},
		{"step up that cannot be predicted", Candidate{Settings: static(50, 1260), Load: trial.Scalar, Expect: nil}, held, []Rule{Unknown}},
		{"where heat ended a trial", Candidate{Settings: static(50, 1270), Load: trial.Scalar, Expect: calm}, hot, []Rule{HotAgain}},
		{"hotter load where heat ended a trial", Candidate{Settings: static(50, 1275), Load: trial.WideVector, Expect: calm}, hot, []Rule{HotAgain}},
		{"below where heat ended a trial", Candidate{Settings: static(50, 1265), Load: trial.Scalar, Expect: calm}, hot, nil},
		{"as before after a crash at once", Candidate{Settings: static(50, 1275), Load: trial.Scalar, Expect: calm}, crashed, []Rule{BackOff}},
		{"a step back after a crash at once", Candidate{Settings: static(49, 1250), Load: trial.Scalar, Expect: calm}, crashed, nil},
		{"higher voltage after a late freeze", Candidate{Settings: static(50, 1275), Load: trial.Scalar, Expect: calm}, late, nil},
		{"predicted too hot, but a heavier load ran cool for long", Candidate{Settings: static(49, 1250), Load: trial.Memory, Expect: expect(1.22, 120, 220)}, warm, nil},
		{"predicted too hot, and a heavier load ran cool for minutes only", Candidate{Settings: static(49, 1250), Load: trial.Memory, Expect: expect(1.22, 120, 220)}, held, []Rule{Heat}},
		{"as much power as where heat ended a trial with automatic voltage", Candidate{Settings: static(49, 1250), Load: trial.Scalar, Expect: expect(1.22, 80, 240)}, automatic, []Rule{HotAgain}},
		{"clearly less power than that", Candidate{Settings: static(49, 1250), Load: trial.Scalar, Expect: expect(1.22, 80, 220)}, automatic, nil},
		{"the voltage itself over the ceiling, where the load line is known", Candidate{Settings: static(49, 1250), Load: trial.Scalar, Expect: calm, Highest: 1.351}, held, []Rule{Ceiling}},
		{"only the meter's scatter over the ceiling", Candidate{Settings: static(49, 1250), Load: trial.Scalar, Expect: expect(1.352, 80, 220), Highest: 1.349}, held, nil},
		{"predicted too hot, and only a lighter load ran cool", Candidate{Settings: static(49, 1250), Load: trial.WideVector, Expect: expect(1.22, 120, 220)}, held, []Rule{Heat}},
		{"set voltage over its ceiling", Candidate{Settings: static(49, 1411), Load: trial.Scalar, Expect: calm}, nil, []Rule{SetAbove}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			require.Equal(t, c.want, rules(limits.Vet(c.c, "ddr4", c.history)))
		})
	}
}

func TestHardLimits(t *testing.T) {
	require.Empty(t, limits.Hard(trial.Settings{DRAMVoltage: 1.45, Ratio: 50, CacheRatio: 48}, "ddr4"))
	require.Equal(t, []Rule{Memory}, rules(limits.Hard(trial.Settings{DRAMVoltage: 1.45}, "ddr5")))
	require.Equal(t, []Rule{Memory}, rules(limits.Hard(trial.Settings{DRAMVoltage: 1.45}, "")), "an unknown standard gets the lower ceiling")
	require.Equal(t, []Rule{Cache}, rules(limits.Hard(trial.Settings{Ratio: 50, CacheRatio: 49}, "ddr4")))
}

func TestLimitsFollowThePC(t *testing.T) {
	l := limits.For(trial.Machine{TempLimit: 90, SupplyW: 500})
	require.InDelta(t, 85, float64(l.TempLimit), 1e-9)
	require.InDelta(t, 300, float64(l.PowerLimit), 1e-9)
	require.InDelta(t, 95, float64(limits.For(trial.Machine{}).TempLimit), 1e-9)
}

func TestEveryVetoHasAReason(t *testing.T) {
	for _, v := range limits.Vet(Candidate{Settings: static(60, 1500), Load: trial.Scalar, Expect: expect(1.5, 120, 500)}, "ddr4",
		[]trial.Trial{ran(1, static(49, 1200), trial.Clean, 8)}) {
		require.NotEmpty(t, v.Reason)
		require.NotEmpty(t, v.Field)
	}
}
