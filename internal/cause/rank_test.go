package cause_test

import (
	"fmt"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"belay/internal/cause"
	"belay/internal/trial"
	"belay/internal/units"
)

// What people of the trade would say first. Common practice, no source.
func TestRankingOfPlainCases(t *testing.T) {
	tab := table(t)
	for _, c := range []struct {
		name string
		e    cause.Evidence
		want string
	}{
		{"ratio up, wrong result", cause.Evidence{Symptom: trial.Error, Load: trial.Scalar, Change: cause.Ratio}, "core-voltage"},
		{"only wide vectors fail", cause.Evidence{Symptom: trial.Error, Load: trial.WideVector, Timing: cause.AtOnce}, "wide-vector-voltage"},
		{"cache ratio up, freeze", cause.Evidence{Symptom: trial.Froze, Load: trial.Cache, Change: cause.CacheRatio}, "cache-voltage"},
		{"tighter timings, errors late", cause.Evidence{Symptom: trial.Error, Load: trial.Memory, Timing: cause.Late, Change: cause.MemoryTiming}, "memory-timing"},
		{"memory voltage down, errors all over", cause.Evidence{Symptom: trial.Error, Load: trial.Memory, Timing: cause.Late, Change: cause.MemoryVoltage, Pattern: cause.Everywhere}, "memory-voltage"},
		{"one bit wrong, nothing changed", cause.Evidence{Symptom: trial.Error, Load: trial.Memory, Change: cause.Nothing, Pattern: cause.OneBit}, "memory-module"},
		{"stopped for heat", cause.Evidence{Symptom: trial.TooHot, Load: trial.WideVector, Timing: cause.Late}, "heat"},
		{"cap lifted, resets at once, nothing logged", cause.Evidence{Symptom: trial.Reset, Load: trial.WideVector, Timing: cause.AtOnce, Change: cause.PowerLimit, Bank: cause.NoBank}, "power-delivery"},
		{"load line, bursts, at once", cause.Evidence{Symptom: trial.Froze, Load: trial.Bursty, Timing: cause.AtOnce, Change: cause.LoadLine}, "load-line"},
		{"idle freeze after long", cause.Evidence{Symptom: trial.Froze, Load: trial.Bursty, Timing: cause.Late, Change: cause.LoadLine}, "low-end"},
		{"held for days, one odd error", cause.Evidence{Symptom: trial.Error, Load: trial.Scalar, Timing: cause.Late, Change: cause.Nothing, Bank: cause.NoBank,
			Tests: []cause.Tested{{Test: "repeat"}}}, "background"},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.NoError(t, c.e.Check(tab))
			got := cause.Rank(tab, c.e)
			require.Equal(t, c.want, got[0].Cause.ID, "%v", got[:3])
			require.NotEmpty(t, got[0].Because)
		})
	}
}

// With nothing known the ranking is the priors, in order.
func TestNothingKnownIsThePrior(t *testing.T) {
	tab := table(t)
	for _, e := range []cause.Evidence{{}, {Bank: "not in the table"}, {Tests: []cause.Tested{{Test: "nor this"}}}} {
		got := cause.Rank(tab, e)
		require.Len(t, got, len(tab.Causes))
		for _, r := range got {
			require.InDelta(t, r.Cause.Prior, r.Probability, 1e-12)
			require.Empty(t, r.Because)
		}
		require.Equal(t, "core-voltage", got[0].Cause.ID)
	}
	require.Empty(t, cause.Rank(cause.Table{}, cause.Evidence{}))
}

// two is a table small enough to reckon by hand: priors 0.75 and 0.25, a wrong
// result twice as likely under b, and two tests.
func two() cause.Table {
	row := func(p float64) []cause.Row {
		return []cause.Row{{Feature: "symptom", Values: map[string]float64{"error": p, "reset": 1 - p}}}
	}
	return cause.Table{
		Features: []cause.Feature{{ID: "symptom", Values: []cause.Value{{ID: "error"}, {ID: "reset"}}}},
		Causes: []cause.Cause{
			{ID: "a", Prior: 0.75, Likelihoods: row(0.4)},
			{ID: "b", Prior: 0.25, Likelihoods: row(0.8)},
		},
		Tests: []cause.Test{
			{ID: "quick", Minutes: 10, Fails: map[string]float64{"a": 0.6, "b": 0.4}},
			{ID: "sharp", Minutes: 10, FirmwareChanges: 2, CrashShare: 0.5, Fails: map[string]float64{"a": 0.1, "b": 0.9}},
		},
	}
}

// The worked example of docs/models/cause.md, by Bayes and Shannon by hand:
// 0.75*0.4 against 0.25*0.8 is 3 to 2.
func TestWorkedExample(t *testing.T) {
	e := cause.Evidence{Symptom: trial.Error}
	got := cause.Rank(two(), e)
	require.InDelta(t, 0.6, got[0].Probability, 1e-12)
	require.Empty(t, got[0].Because, "an error speaks against a")
	require.Equal(t, []string{"symptom"}, got[1].Because)

	h := func(p float64) float64 { return -p*math.Log2(p) - (1-p)*math.Log2(1-p) }
	fails := 0.6*0.1 + 0.4*0.9
	bits := h(0.6) - fails*h(0.36/fails) - (1-fails)*h(0.54/(1-fails))
	minutes := 10 + 2*5 + fails*0.5*8
	best := cause.BestTest(two(), e)
	require.Equal(t, "sharp", best.Test.ID)
	require.InDelta(t, bits, best.Bits, 1e-12)
	require.InDelta(t, minutes, float64(best.Minutes), 1e-12)
	require.InDelta(t, bits/minutes, best.BitsPerMinute, 1e-12)
	require.Equal(t, "b", best.Results[0].Likeliest)
	require.InDelta(t, 0.36/fails, best.Results[0].Then, 1e-12)
	require.Empty(t, best.Warnings)

	doc, err := os.ReadFile("../../docs/models/cause.md")
	require.NoError(t, err)
	require.Contains(t, string(doc), fmt.Sprintf("%.3f bits", bits))
	require.Contains(t, string(doc), fmt.Sprintf("%.2f minutes", minutes))
	require.Contains(t, string(doc), fmt.Sprintf("%.0f %% sure of b", 100*0.36/fails))
}

// A dear test loses to a cheap one that tells less: 100 visits to the setup
// screen cost more than the sharper answer is worth.
func TestTimeCounts(t *testing.T) {
	tab := two()
	tab.Tests[1].FirmwareChanges = 100
	require.Equal(t, "quick", cause.BestTest(tab, cause.Evidence{}).Test.ID)
}

func TestBestTestLeavesOutWhatIsKnown(t *testing.T) {
	tab := table(t)
	e := cause.Evidence{Symptom: trial.Error, Load: trial.Mixed, Timing: cause.Late}
	first := cause.BestTest(tab, e)
	require.Equal(t, "read-log", first.Test.ID, "three minutes of looking come first")
	require.Len(t, first.Results, 4)
	e.Bank = cause.NoBank
	second := cause.BestTest(tab, e)
	require.NotEqual(t, "read-log", second.Test.ID)
	require.NotEmpty(t, second.Test.ID)
	e.Tests = []cause.Tested{{Test: second.Test.ID, Failed: true}}
	require.NotEqual(t, second.Test.ID, cause.BestTest(tab, e).Test.ID)
	require.NotEqual(t, first.Results[0].Likeliest, first.Results[2].Likeliest)
}

func TestBestTestWarns(t *testing.T) {
	tab := two()
	tab.Tests = nil
	none := cause.BestTest(tab, cause.Evidence{})
	require.Empty(t, none.Test.ID)
	require.Len(t, none.Warnings, 1)
	require.Contains(t, none.Warnings[0], "No trial")

	sure := cause.BestTest(table(t), cause.Evidence{Symptom: trial.TooHot, Load: trial.WideVector, Timing: cause.Late, Change: cause.PowerLimit})
	require.Contains(t, sure.Warnings[len(sure.Warnings)-1], "likely enough")
	require.Empty(t, cause.BestTest(cause.Table{}, cause.Evidence{}).Results)
}

func TestFromTrial(t *testing.T) {
	for _, c := range []struct {
		name string
		in   trial.Trial
		want cause.Timing
	}{
		{"at once", trial.Trial{Outcome: trial.Reset, Minutes: 0}, cause.AtOnce},
		{"ten seconds", trial.Trial{Outcome: trial.Reset, Minutes: units.Minutes(10.0 / 60)}, cause.AtOnce},
		{"half a minute", trial.Trial{Outcome: trial.Error, Minutes: 0.5}, cause.Minute},
		{"a while", trial.Trial{Outcome: trial.Error, Minutes: 7}, cause.Late},
		{"unknown", trial.Trial{Outcome: trial.Froze, TimeUnknown: true}, ""},
		{"never began", trial.Trial{Outcome: trial.NoBoot}, ""},
	} {
		c.in.Load = trial.Cache
		got := cause.FromTrial(c.in)
		require.Equal(t, c.want, got.Timing, c.name)
		require.Equal(t, c.in.Outcome, got.Symptom, c.name)
		require.Equal(t, trial.Cache, got.Load, c.name)
	}
}

// Over any evidence: probabilities sum to 1 in falling order, the order of
// tests done does not matter, information is never negative nor above the
// entropy of the causes, and the outcomes of a test exhaust it.
func TestProperties(t *testing.T) {
	tab := table(t)
	pick := func(t *rapid.T, feature int) string {
		vs := tab.Features[feature].Values
		i := rapid.IntRange(-1, len(vs)-1).Draw(t, tab.Features[feature].ID)
		if i < 0 {
			return ""
		}
		return vs[i].ID
	}
	rapid.Check(t, func(t *rapid.T) {
		e := cause.Evidence{
			Symptom: trial.Outcome(pick(t, 0)), Load: trial.Load(pick(t, 1)), Timing: cause.Timing(pick(t, 2)),
			Change: cause.Change(pick(t, 3)), Bank: cause.Bank(pick(t, 4)), Pattern: cause.Pattern(pick(t, 5)),
			Tests: []cause.Tested{
				{Test: "repeat", Failed: rapid.Bool().Draw(t, "repeat")},
				{Test: "lower-ratio", Failed: rapid.Bool().Draw(t, "lower")},
			},
		}
		got := cause.Rank(tab, e)
		var total, entropy float64
		last := 1.0
		for _, r := range got {
			require.LessOrEqual(t, r.Probability, last)
			last = r.Probability
			total += r.Probability
			if r.Probability > 0 {
				entropy -= r.Probability * math.Log2(r.Probability)
			}
		}
		require.InDelta(t, 1, total, 1e-12)
		e.Tests[0], e.Tests[1] = e.Tests[1], e.Tests[0]
		swapped := cause.Rank(tab, e)
		for i := range got {
			require.InDelta(t, got[i].Probability, swapped[i].Probability, 1e-12)
		}
		best := cause.BestTest(tab, e)
		require.True(t, best.Bits >= 0 && best.Bits <= entropy+1e-12)
		if best.Test.ID != "" {
			var p float64
			for _, r := range best.Results {
				p += r.Probability
			}
			require.InDelta(t, 1, p, 1e-9)
			require.GreaterOrEqual(t, float64(best.Minutes), best.Test.Minutes)
		}
	})
}
