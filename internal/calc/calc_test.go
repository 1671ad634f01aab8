package calc

import (
	"encoding/json"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"belay/internal/fault"
)

// answer runs a calculator and reads its result as a program would.
func answer(t require.TestingT, name, body string) map[string]any {
	r, err := Run(name, []byte(body))
	require.NoError(t, err, body)
	text, err := json.Marshal(r)
	require.NoError(t, err, body)
	var out map[string]any
	require.NoError(t, json.Unmarshal(text, &out))
	return out
}

const trials = `[
 {"load":"scalar","ratio":47,"load_voltage_v":1.190,"planned_minutes":10,"outcome":"clean"},
 {"load":"scalar","ratio":48,"load_voltage_v":1.190,"planned_minutes":10,"outcome":"error","minutes":4.2},
 {"load":"scalar","ratio":48,"load_voltage_v":1.210,"planned_minutes":10,"outcome":"clean"},
 {"load":"scalar","ratio":49,"load_voltage_v":1.225,"planned_minutes":10,"outcome":"froze","minutes":0.4},
 {"load":"scalar","ratio":49,"load_voltage_v":1.245,"planned_minutes":10,"outcome":"error","minutes":6.5},
 {"load":"scalar","ratio":49,"load_voltage_v":1.255,"planned_minutes":10,"outcome":"clean"}]`

// TestPublished compares with published or recomputed numbers. Tolerances are
// relative; they cover the digits that are printed in the source.
func TestPublished(t *testing.T) {
	for _, c := range []struct {
		name, body, source string
		want               map[string]any
		tolerance          float64
	}{
		{"proof", `{"hours": 8}`, "NIST/SEMATECH e-Handbook 8.4.5.1, T/(-ln alpha)",
			map[string]any{"mtbf_lower_h": 2.670466, "rate_upper_per_h": 0.3744665, "mtbf_point_h": nil}, 1e-6},
		{"proof", `{"hours": 24, "confidence": 0.9}`, "the same",
			map[string]any{"mtbf_lower_h": 10.423068}, 1e-6},
		{"proof", `{"hours": 1000, "failures": 2, "confidence": 0.9, "target_h": 500}`, "the same, time-truncated form with 2r+2 degrees of freedom",
			map[string]any{"mtbf_lower_h": 187.887977, "mtbf_point_h": 500.0, "hours_needed": 1151.2925}, 1e-6},
		{"heat", `{"air": 25, "rth": 0.3, "dynamic_w": 120, "leak_w": 20, "leak_ref_c": 60, "leak_scale_c": 40}`,
			"fixed point by SciPy's Lambert W, testdata/reference/heat-loop.json",
			map[string]any{"temp_c": 68.4025380404, "power_w": 144.6751268, "loop_gain": 0.1850634511, "runaway": false}, 1e-8},
		{"heat", `{"air": 35, "rth": 0.25, "dynamic_w": 150}`, "JEDEC JESD51: T = Ta + R P",
			map[string]any{"temp_c": 72.5, "power_w": 150.0, "loop_gain": 0.0}, 1e-9},
		{"heat", `{"air": 25, "rth": 0.5, "dynamic_w": 120, "leak_w": 20}`, "no solution for x > 1/e, Stout 2007",
			map[string]any{"temp_c": nil, "power_w": nil, "runaway": true}, 0},
		{"memory", `{"standard": "ddr4", "rate": 3200, "cl": 22, "trcd": 22, "trp": 22, "tras": 52}`, "JESD79-4, bin 3200AA",
			map[string]any{"cas_ns": 13.75, "trc_ck": 74.0, "peak_gb_s_per_channel": 25.6, "violations": []any{}}, 1e-9},
		{"memory", `{"standard": "ddr5", "rate": 4800, "cl": 40, "trcd": 39, "trp": 39, "tras": 77}`, "JESD79-5, published bin 40-39-39",
			map[string]any{"cas_ns": 16.6666667, "peak_gb_s_per_channel": 38.4, "violations": []any{}}, 1e-8},
		{"clocks", `{"standard": "ddr4", "ns": 15, "rate": 2400}`, "JEDEC 21-C annex L; write recovery preset of an open simulator",
			map[string]any{"nck": 18.0}, 0},
		{"clocks", `{"standard": "ddr5", "ns": 30, "rate": 5600}`, "JESD79-5; write recovery preset of an open simulator",
			map[string]any{"nck": 84.0}, 0},
		{"gain", `{"before": [1000, 1004, 998], "after": [1018, 1014, 1016]}`, "Welch 1947; the ratio is that of the geometric means",
			map[string]any{"ratio": math.Cbrt(1018.0 * 1014 * 1016 / (1000 * 1004 * 998)), "verdict": "faster"}, 1e-9},
		{"gain", `{"before": [1000], "after": [1100]}`, "one run on each side shows nothing",
			map[string]any{"ratio": 1.1, "ratio_95": nil, "df": nil, "p": nil, "verdict": "not enough evidence"}, 1e-9},
		{"wear", `{"v0": 1.2, "t0": 70, "v1": 1.2, "t1": 70}`, "a setting wears as fast as itself",
			map[string]any{"factor_low": 1.0, "factor_mid": 1.0, "factor_high": 1.0}, 1e-9},
		// The bias law at 50 mV alone: E-model 10 to 20 per volt, power law 20 to 48.
		{"wear", `{"v0": 1.25, "t0": 60, "v1": 1.30, "t1": 60}`, "power law (1.30/1.25)^48, E-model exp(10*0.05): testdata/reference/wear-acceleration.json",
			map[string]any{"factor_low": 1 / 0.6065307, "factor_high": 1 / 0.1521948}, 1e-6},
	} {
		got := answer(t, c.name, c.body)
		for key, want := range c.want {
			if n, ok := want.(float64); ok {
				require.InDelta(t, n, got[key], c.tolerance*math.Abs(n), "%s %s: %s (%s)", c.name, c.body, key, c.source)
				continue
			}
			require.Contains(t, got, key)
			require.Equal(t, want, got[key], "%s %s: %s (%s)", c.name, c.body, key, c.source)
		}
	}
}

// TestGuidelineLine feeds readings on the published line of 1.25 mΩ (voltage
// regulator guideline 10.2, testdata/reference/loadline-limits.json). The
// prior pulls by less than a tenth of the interval.
func TestGuidelineLine(t *testing.T) {
	got := answer(t, "loadline", `{"reading": ["1.3:1.2375:61.875", "1.3:1.175:117.5", "1.3:1.1375:147.875", "1.3:1.1125:166.875"], "want": 1.175, "power": 117.5}`)
	require.InDelta(t, 1.25, got["resistance_mohm"], 0.02)
	require.InDelta(t, 1.3, got["set_v"], 0.001)
	pair := got["resistance_95_mohm"].([]any)
	require.Less(t, pair[0], 1.25)
	require.Greater(t, pair[1], 1.25)
}

// TestNeed holds the calculator to the worked example of
// docs/models/stability.md, which is checked against a dense sum there.
func TestNeed(t *testing.T) {
	got := answer(t, "need", `{"trials": `+trials+`, "delivered": "47:1.300", "keep": {"ratio": 49, "load_voltage_v": 1.31}}`)
	last := got["need"].([]any)[2].(map[string]any)
	for key, want := range map[string]float64{"ratio": 49, "q05_v": 1.276, "q50_v": 1.294, "q95_v": 1.317} {
		require.InDelta(t, want, last[key], 0.001, key)
	}
	require.InDelta(t, 0.883, got["confidence"], 0.002)
	require.InDelta(t, 14.8, got["slope_mv_per_decade"].([]any)[1], 0.1)
	require.Empty(t, got["warnings"])

	without := answer(t, "need", `{"trials": `+trials+`}`)
	require.NotContains(t, without, "confidence")
	require.Len(t, without["warnings"], 1)
	middle := without["need"].([]any)[2].(map[string]any)["q50_v"]
	require.InDelta(t, 1.294, middle, 0.003, "six trials outweigh the prior")

	thin := answer(t, "need", `{"trials": [{"ratio": 47, "load_voltage_v": 1.3, "minutes": 1, "outcome": "clean"}], "delivered": "47:1.3", "keep": "52:1.3"}`)
	require.Contains(t, thin, "confidence")
	require.Nil(t, thin["confidence"], "no claim far from the evidence")
	require.NotEmpty(t, thin["warnings"])
	void, err := Run("need", []byte(`{"trials": [{"ratio": 47, "load_voltage_v": 1.3, "outcome": "stopped"}]}`))
	require.Nil(t, void)
	require.True(t, fault.Is(err, fault.Invalid))
}

// keys are those that the API fixes, with those that come on request.
var keys = map[string][]string{
	"proof":    {"mtbf_lower_h", "rate_upper_per_h", "mtbf_point_h", "hours_needed"},
	"loadline": {"resistance_mohm", "resistance_95_mohm", "offset_v", "set_v", "set_95_v"},
	"heat":     {"temp_c", "power_w", "loop_gain", "runaway"},
	"need":     {"need", "slope_mv_per_decade", "confidence"},
	"memory":   {"cas_ns", "trcd_ns", "trp_ns", "tras_ns", "trc_ck", "peak_gb_s_per_channel", "violations"},
	"clocks":   {"nck"},
	"gain":     {"ratio", "ratio_95", "df", "p", "verdict"},
	"wear":     {"factor_low", "factor_mid", "factor_high"},
}

func TestKeysAndSentences(t *testing.T) {
	bodies := map[string]string{
		"proof": `{"hours": 8, "failures": 1, "target_h": 10}`, "loadline": `{"reading": ["1.2:1.3:60"], "want": 1.2, "power": 300}`,
		"heat": `{"air": 40, "rth": 0.5, "dynamic_w": 140}`, "need": `{"trials": ` + trials + `, "keep": "49:1.2"}`,
		"memory": `{"standard": "ddr5", "rate": 6000, "cl": 31, "trcd": 38, "trp": 38, "tras": 30}`,
		"clocks": `{"standard": "ddr5", "ns": 16, "rate": 4800}`, "gain": `{"before": [1, 2, 3], "after": [2, 1, 3.1]}`,
		"wear": `{"v0": 1.2, "t0": 70, "v1": 1.5, "t1": 30}`,
	}
	require.Equal(t, Names(), slices.Sorted(maps.Keys(bodies)))
	for name, body := range bodies {
		got := answer(t, name, body)
		require.ElementsMatch(t, append(slices.Clone(keys[name]), "warnings"), slices.Collect(maps.Keys(got)), name)
		require.IsType(t, []any{}, got["warnings"], name)
		r, err := Run(name, []byte(body))
		require.NoError(t, err)
		lines := r.Sentences()
		for _, line := range lines {
			for _, sentence := range strings.SplitAfter(line, ". ") {
				require.LessOrEqual(t, len(strings.Fields(sentence)), 22, "%s: %s", name, sentence)
			}
			require.Regexp(t, `^[A-Z0-9].*\.$`, line, name)
		}
		for _, w := range got["warnings"].([]any) {
			require.Contains(t, lines, w, name)
		}
	}
	_, err := Run("nothing", nil)
	require.True(t, fault.Is(err, fault.NotFound))
}

// TestRefuses gives each calculator what it cannot use, and what it offers.
func TestRefuses(t *testing.T) {
	for _, c := range []struct {
		name, body, field string
		suggest           float64 // 0: none
	}{
		{"proof", `{"hours": 0}`, "hours", 0},
		{"proof", `{"hours": 8, "confidence": 95}`, "confidence", 0.95},
		{"proof", `{"hours": 8, "failures": 1.5}`, "failures", 0},
		{"loadline", `{"reading": []}`, "reading", 0},
		{"loadline", `{"reading": [{"set_voltage_v": 1.2, "load_voltage_v": 1168, "package_power_w": 60}]}`, "reading.0.load_voltage_v", 1.168},
		{"loadline", `{"reading": ["1.2:1.1"]}`, "reading", 0},
		{"loadline", `{"reading": [{"set": 1.2}]}`, "reading", 0},
		{"loadline", `{"reading": ["1.2:1.1:60"], "want": 1.2}`, "power", 0},
		{"heat", `{"air": 25, "rth": 0, "dynamic_w": 100}`, "rth", 0},
		{"heat", `{"air": 25, "rth": 0.3, "dynamic_w": 125000}`, "dynamic_w", 125},
		{"wear", `{"v0": 1200, "t0": 70, "v1": 1.2, "t1": 70}`, "v0", 1.2},
		{"wear", `{"v0": 1.2, "t0": 172, "v1": 1.2, "t1": 70}`, "t0", 77.8},
		{"memory", `{"standard": "ddr5", "rate": 2400, "cl": 40, "trcd": 40, "trp": 40, "tras": 77}`, "rate", 4800},
		{"clocks", `{"standard": "ddr9", "rate": 2400, "ns": 15}`, "standard", 0},
		{"clocks", `{"standard": "ddr4", "rate": 2400, "ns": -15}`, "ns", 0},
		{"gain", `{"before": [1000, 0], "after": [1]}`, "before.1", 0},
		{"gain", `{"before": [1000], "after": []}`, "after", 0},
		{"gain", `{"before": [1000], "after": [1, 2], "paired": true}`, "after", 0},
		{"need", `{"trials": []}`, "trials", 0},
		{"need", `{"trials": [{"ratio": 4900, "load_voltage_v": 1.2, "minutes": 5, "outcome": "clean"}]}`, "trials.0.ratio", 49},
		{"need", `{"trials": [{"ratio": 49, "load_voltage_v": 1200, "minutes": 5, "outcome": "clean"}]}`, "trials.0.load_voltage_v", 1.2},
		{"need", `{"trials": [{"ratio": 49, "load_voltage_v": 1.2, "minutes": 5, "outcome": "fine"}]}`, "trials.0.outcome", 0},
		{"need", `{"trials": [{"ratio": 49, "load_voltage_v": 1.2, "outcome": "clean"}]}`, "trials.0.planned_minutes", 0},
		{"need", `{"trials": [{"ratio": 49, "load_voltage_v": 1.2, "planned_minutes": 10, "minutes": 600, "outcome": "error"}]}`, "trials.0.minutes", 0},
		{"need", `{"trials": ` + trials + `, "load": "heavy"}`, "load", 0},
		{"need", `{"trials": ` + trials + `, "keep": "49"}`, "keep", 0},
		{"need", `{"trials": ` + trials + `, "keep": "49:1310"}`, "keep.load_voltage_v", 1.31},
	} {
		_, err := Run(c.name, []byte(c.body))
		var f *fault.Error
		require.ErrorAs(t, err, &f, c.body)
		require.Equal(t, fault.Invalid, f.Code, c.body)
		require.Len(t, f.Fields, 1, c.body)
		require.Equal(t, c.field, f.Fields[0].Field, c.body)
		if c.suggest == 0 {
			require.Nil(t, f.Fields[0].Suggest, c.body)
			continue
		}
		require.NotNil(t, f.Fields[0].Suggest, c.body)
		require.InDelta(t, c.suggest, f.Fields[0].Suggest, 1e-9, c.body)
	}
}

// TestAnythingIsAnsweredOrRefused: no number makes a calculator give what
// JSON cannot hold, or fail with anything but a fault.
func TestAnythingIsAnsweredOrRefused(t *testing.T) {
	number := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-10, 10), rapid.Float64Range(0, 300), rapid.SampledFrom([]float64{0, 1, 1e-12, 1e12}))
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom([]string{"proof", "heat", "wear", "loadline", "gain"}).Draw(t, "name")
		n := func(key string) float64 { return number.Draw(t, key) }
		in := map[string]Input{
			"proof":    Proof{Failures: rapid.Int().Draw(t, "failures"), Hours: n("hours"), Confidence: n("confidence")},
			"heat":     Heat{Air: n("air"), Rth: n("rth"), DynamicW: n("dynamic"), LeakW: n("leak"), LeakRefC: n("ref"), LeakScaleC: n("scale")},
			"wear":     Wear{V0: n("v0"), T0: n("t0"), V1: n("v1"), T1: n("t1")},
			"loadline": LoadLine{Reading: []Reading{{n("set"), n("load"), n("power")}, {n("set2"), n("load2"), n("power2")}}},
			"gain":     Gain{Before: []float64{n("b1"), n("b2")}, After: []float64{n("a1"), n("a2")}},
		}[name]
		r, err := in.Calculate()
		if err != nil {
			require.True(t, fault.Is(err, fault.Invalid) || fault.Is(err, fault.Unsafe), "%v", err)
			return
		}
		_, err = json.Marshal(r)
		require.NoError(t, err)
		require.NotEmpty(t, r.Sentences())
	})
}
