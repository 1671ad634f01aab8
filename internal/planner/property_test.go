package planner

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"belay/internal/safety"
	"belay/internal/trial"
	"belay/internal/units"
)

// limits are invented round numbers.
var limits = safety.Limits{
	CoreCeiling: 1.35, SetAbove: 0.06, DDR4Ceiling: 1.45, DDR5Ceiling: 1.40, TempLimit: 95,
	PowerLimit: 350, RatioStep: 1, VoltStep: 0.025, CacheBelowCore: 2, SoonMinutes: 1, LoadLineDroopMV: 120,
}

var machine = trial.Machine{
	Cores: 10, StockRatio: 48, StockCacheRatio: 43, BaseClock: 100, TempLimit: 100, MemoryStandard: "ddr4",
	KitRate: 3600, KitCL: 16, KitTRCD: 19, KitTRP: 19, KitTRAS: 39, KitVoltage: 1.35,
}

// drawTrial draws any trial, also ones that no guide would have run.
func drawTrial(t *rapid.T, n int) trial.Trial {
	stage := rapid.SampledFrom([]string{"baseline", "power-cap", "core", "wide-vector", "memory", "cache", "together", "daily"}).Draw(t, "stage")
	x := trial.Trial{
		N: n, Stage: stage, Load: rapid.SampledFrom(trial.Loads).Draw(t, "load"), PlannedMinutes: 8,
		Outcome: rapid.SampledFrom(trial.Outcomes).Draw(t, "outcome"),
		Minutes: units.Minutes(rapid.Float64Range(0, 8).Draw(t, "minutes")),
		Readings: trial.Readings{
			LoadVoltage: units.Volt(rapid.Float64Range(0.9, 1.45).Draw(t, "load voltage")), CoreTemp: units.Celsius(rapid.Float64Range(25, 110).Draw(t, "temp")),
			AirTemp: 22, PackagePower: units.Watt(rapid.Float64Range(30, 400).Draw(t, "power")), Clock: units.Megahertz(rapid.Float64Range(3500, 5600).Draw(t, "clock")),
		},
	}
	if stage != "baseline" && stage != "power-cap" {
		x.Settings = trial.Settings{
			Ratio: units.Ratio(rapid.IntRange(44, 56).Draw(t, "ratio")), SetVoltage: units.Volt(rapid.IntRange(180, 282).Draw(t, "set")) * 0.005,
			VoltageMode: "static", DataRate: 3600, CL: 16, TRCD: 19, TRP: 19, TRAS: 39, DRAMVoltage: 1.35,
			WideVectorOffset: rapid.IntRange(0, 3).Draw(t, "offset"),
		}
	}
	return x
}

// TestNoProposalPassesALimit checks the limits themselves, not through the
// code that enforces them, over hostile histories.
func TestNoProposalPassesALimit(t *testing.T) {
	proposals := 0
	rapid.Check(t, func(t *rapid.T) {
		in := Input{
			Search: rapid.SampledFrom(Order).Draw(t, "search"), Machine: machine, Limits: limits,
			Wishes: Wishes{
				TargetH: rapid.SampledFrom([]float64{60, 500, 2000}).Draw(t, "target"), StepsBack: rapid.IntRange(0, 2).Draw(t, "steps"), Mode: "adaptive",
				Hours: rapid.SampledFrom([]float64{0, 1, 6, 200}).Draw(t, "hours"), Priority: rapid.SampledFrom([]string{"", "fast", "cool", "quiet"}).Draw(t, "priority"),
			},
			Endings: map[string]trial.Ending{"voltage-mode": {Search: "voltage-mode", Keep: trial.Settings{
				Ratio: 48, SetVoltage: 1.25, VoltageMode: "static", DataRate: 3600, CL: 16, TRCD: 19, TRP: 19, TRAS: 39, DRAMVoltage: 1.35,
			}}},
			LoadLine: []trial.Row{
				{"set_voltage_v": 1.25, "load_voltage_v": 1.24, "package_power_w": 40},
				{"set_voltage_v": 1.25, "load_voltage_v": 1.21, "package_power_w": 200},
			},
		}
		in.Stage = in.Search
		for i := range rapid.IntRange(0, 12).Draw(t, "trials") {
			in.Trials = append(in.Trials, drawTrial(t, i+1))
		}
		p, e := Next(in)
		if p == nil {
			require.NotEmpty(t, e.Because)
			return
		}
		proposals++
		s := p.Settings
		require.LessOrEqual(t, float64(s.SetVoltage), 1.41+1e-9)
		require.LessOrEqual(t, float64(s.DRAMVoltage), 1.45+1e-9)
		require.NotEmpty(t, p.Because)
		require.NotEmpty(t, p.IfClean)
		require.NotEmpty(t, p.IfFailed)
		require.Positive(t, float64(p.Minutes))
		if p.Expect != nil { // no drawn trial is long enough to show by itself that its heat is held
			limit := float64(limits.TempLimit)
			if in.Search == "core" || in.Search == "wide-vector" {
				limit -= float64(coolReserve[in.Wishes.Priority])
			}
			require.LessOrEqual(t, p.Expect.CoreTemp[2], limit+0.1)
			require.LessOrEqual(t, p.Expect.PackagePower[2], float64(limits.PowerLimit)+0.1)
			require.LessOrEqual(t, p.Expect.LoadVoltage[1], float64(limits.CoreCeiling)+0.001)
		}
		ratio, volt := units.Ratio(0), units.Volt(0)
		for _, x := range in.Trials {
			if x.Outcome == trial.Clean {
				ratio = max(ratio, x.Settings.Ratio)
			}
			if x.Outcome == trial.Clean || x.Outcome == trial.Error || x.Outcome == trial.Froze || x.Outcome == trial.Reset {
				volt = max(volt, x.Settings.SetVoltage)
			}
			if x.Outcome.Hot() && x.Load == p.Load && p.Load == trial.Scalar && s.SustainedLimit == x.Settings.SustainedLimit {
				if x.Settings.SetVoltage == 0 && s.SetVoltage > 0 { // automatic voltage: only the power can be compared
					require.NotNil(t, p.Expect)
					require.Less(t, s.SetVoltage, limits.CoreCeiling+limits.SetAbove+1e-9)
					require.Less(t, p.Expect.PackagePower[1], float64(x.Readings.PackagePower))
					continue
				}
				require.False(t, s.Ratio >= x.Settings.Ratio && s.SetVoltage >= x.Settings.SetVoltage, "at or above a setting that failed from heat")
			}
		}
		if ratio > 0 {
			require.LessOrEqual(t, s.Ratio, ratio+1)
		}
		if volt > 0 {
			require.LessOrEqual(t, float64(s.SetVoltage), float64(volt)+0.025+1e-9)
		}
	})
	require.Positive(t, proposals)
}

func TestTheSameEvidenceGivesTheSameProposal(t *testing.T) {
	in := Input{Search: "stock", Stage: "baseline", Machine: machine, Limits: limits}
	a, _ := Next(in)
	b, _ := Next(in)
	require.Equal(t, a, b)
}

func TestUnknownSearchIsBlocked(t *testing.T) {
	p, e := Next(Input{Search: "elsewhere", Machine: machine, Limits: limits})
	require.Nil(t, p)
	require.True(t, e.Blocked)
}

func TestNoClaimIsCertain(t *testing.T) {
	for want, c := range map[int]float64{99: 1, 89: 0.899, 0: 0.004} {
		require.Equal(t, want, Percent(c))
	}
}

func TestEveryVetoHasItsAdvice(t *testing.T) {
	for _, r := range []safety.Rule{
		safety.Ceiling, safety.SetAbove, safety.Memory, safety.Cache, safety.Heat, safety.Power, safety.Step, safety.HotAgain, safety.BackOff, safety.Unknown,
	} {
		require.NotEmpty(t, advice[r], r)
	}
}

// A reset in light load lifts the low end, also if the top has come down since.
func TestLightLoadLiftsTheLowEnd(t *testing.T) {
	keep := trial.Settings{Ratio: 50, SetVoltage: 1.25, VoltageMode: "static"}
	in := Input{Search: "daily", Stage: "daily", Machine: machine, Limits: limits, Wishes: Wishes{TargetH: 500, Mode: "adaptive"},
		Endings: map[string]trial.Ending{"together": {Search: "together", Keep: keep}}}
	keep.VoltageMode, keep.SetVoltage = "adaptive", 1.255
	in.Trials = []trial.Trial{{N: 1, Stage: "daily", Load: trial.Bursty, Settings: keep, PlannedMinutes: 30, Outcome: trial.Reset, Minutes: 0.2}}
	p, _ := Next(in)
	require.NotNil(t, p)
	require.InDelta(t, lowEndStep, p.Settings.LowEndMV, 1e-9)
}
