package page

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/session"
	"belay/internal/trial"
)

func TestLinked(t *testing.T) {
	for _, c := range []struct {
		name, in string
		want     []piece
	}{
		{"plain", "no terms", []piece{{Text: "no terms"}}},
		{"term", "the [[load line]]", []piece{{Text: "the "}, {Text: "load line", Href: "/s/x/glossary#term-load-line"}}},
		{"other words", "[[load line|its line]]!", []piece{{Text: "its line", Href: "/s/x/glossary#term-load-line"}, {Text: "!"}}},
		{"unclosed", "a [[b", []piece{{Text: "a [[b"}}},
		{"number", "at 1.250 V or 4900 MHz", []piece{{Text: "at 1.250\u00a0V or 4900\u00a0MHz"}}},
		{"not a unit", "3 Volunteers", []piece{{Text: "3 Volunteers"}}},
	} {
		t.Run(c.name, func(t *testing.T) { require.Equal(t, c.want, linked("/s/x", c.in)) })
	}
}

func TestChange(t *testing.T) {
	byName := map[string]setting{}
	for _, s := range settingsInOrder {
		byName[s.name] = s
	}
	from := trial.Settings{SetVoltage: 1.265, Ratio: 48, VoltageMode: "static"}
	for _, c := range []struct {
		name string
		to   trial.Settings
		want string
	}{
		{"set_voltage_v", trial.Settings{SetVoltage: 1.25}, "0.015\u00a0V lower than before"},
		{"set_voltage_v", trial.Settings{}, "was 1.265\u00a0V"},
		{"ratio", trial.Settings{Ratio: 50}, "2 higher than before"},
		{"ratio", trial.Settings{Ratio: 48}, "stays"},
		{"cache_ratio", trial.Settings{CacheRatio: 43}, "was as delivered"},
		{"voltage_mode", trial.Settings{VoltageMode: "adaptive"}, "was static"},
	} {
		require.Equal(t, c.want, byName[c.name].change(from, c.to), c.name)
	}
}

func TestSettingsCoverEveryName(t *testing.T) {
	var names []string
	for _, s := range settingsInOrder {
		names = append(names, s.name)
	}
	require.ElementsMatch(t, trial.SettingNames(), names)
}

func TestSettingBackToStockIsAChange(t *testing.T) {
	changed, stays := enterTable(trial.Settings{Ratio: 48, CacheRatio: 43}, trial.Proposal{Settings: trial.Settings{Ratio: 48}, Changed: []string{"cache_ratio"}})
	require.Equal(t, []settingRow{{"cache_ratio", "Cache ratio", "43", "as delivered", "was 43", true}}, changed)
	require.Equal(t, "Core ratio", stays[0].Label)
}

func TestChance(t *testing.T) {
	for p, want := range map[float64]string{
		0.98: "very likely to hold: about 98 such trials in 100", 0.9999: "very likely to hold: about 99 such trials in 100",
		0.85: "likely to hold: about 9 such trials in 10", 0.5: "as likely to hold as not: about 5 such trials in 10",
		0.3: "less likely than not to hold: about 3 such trials in 10", 0.001: "unlikely to hold: about 1 such trials in 100",
	} {
		require.Equal(t, want, chance(p))
	}
}

func TestNumbersAreNeverSurer(t *testing.T) {
	require.Equal(t, "99\u00a0%", percent(0.9999))
	require.Equal(t, "89\u00a0%", percent(0.899))
	require.Equal(t, "90\u00a0%", percent(0.9))
	require.Equal(t, "499\u00a0h", hours(499.9))
	require.Equal(t, "1\u00a0h 24\u00a0min", hours(1.4))
	require.Equal(t, "about 1.262\u00a0V (1.254\u00a0to\u00a01.271)", about("V", 1.254, 1.262, 1.271))
}

func TestEvidencePanel(t *testing.T) {
	e := serve(t, scenes())
	d := get(t, e, "/s/core/evidence")
	all := text(d.id("main"))
	for _, want := range []string{
		"Ratio 48 at 1.235 V holds under all-core load", "Reserve 18 mV", "Confidence 90 %", "1.205 V 1.198 to 1.213",
		"about +17.2 % (+16.5 to +17.9), faster", "Over the PC with the power cap lifted not enough evidence yet",
		"about 0.31 mΩ (0.22 to 0.40)", "2 clean", "1 failed", "1 too hot",
	} {
		require.Contains(t, all, want)
	}
	require.Less(t, strings.Index(all, "holds under all-core load"), strings.Index(all, "Voltage needed"), "proof first")
	require.Equal(t, 5, strings.Count(text(get(t, e, "/s/fresh/evidence").id("main")), "Not enough evidence yet."))
}

func TestKeepWithoutConfidence(t *testing.T) {
	k := keepOf(session.View{}, &session.KeepEvidence{Load: trial.Mixed, TargetH: 60})
	require.Equal(t, namedValue{"Confidence", "not enough evidence yet"}, k.Claims[2])
	require.Nil(t, keepOf(session.View{}, nil))
}

func TestLadderSaysItsMarks(t *testing.T) {
	d := get(t, serve(t, scenes()), "/s/core/ladder")
	words := texts(d.class("rung-word"))
	require.Equal(t, "done", words[0])
	require.Equal(t, "skipped", words[4])
	require.Equal(t, "now, 1 h to 4 h", words[6])
	require.Equal(t, "to come, 30 to 90 min", words[7])
	for mark, n := range map[string]int{"shape-done": 5, "shape-skipped": 1, "shape-now": 1, "shape-next": 6} {
		require.Len(t, d.class(mark), n, mark)
	}
	require.Equal(t, "step", attr(d.class("rung-now")[0], "aria-current"))
}

func TestNotebook(t *testing.T) {
	d := get(t, serve(t, scenes()), "/s/core")
	log := d.id("log")
	require.Equal(t, "log", attr(log, "role"))
	require.NotEmpty(t, attr(log, "aria-label"))
	for n := range log.Descendants() {
		require.NotContains(t, []string{"button", "input", "form"}, n.Data, "old entries have no live buttons")
	}
	require.Equal(t, "Taken back These are in the firmware now Core ratio: 48 Core voltage, as set: 1.253 V",
		text(d.class("superseded")[0].LastChild.PrevSibling))
	require.Contains(t, text(d.id("saved")), "Save the result")
	require.NotContains(t, text(d.id("saved")), "1.253")
}

func TestEntriesOfOneVersionHaveTheirOwnKeys(t *testing.T) {
	got := entriesOf("", nil, []session.Entry{{Version: 3}, {Version: 3}, {Version: 4}})
	require.Equal(t, []string{"3-0", "3-1", "4-0"}, []string{got[0].Key, got[1].Key, got[2].Key})
}

func TestLongNotebookIsOneTapAway(t *testing.T) {
	g := scenes()
	s := g.sessions["core"]
	for i := range 40 {
		s.history = append(s.history, session.Entry{Version: int64(100 + i), From: "guide", Title: "More"})
	}
	e := serve(t, g)
	d := get(t, e, "/s/core")
	require.Len(t, d.class("note"), shownEntries)
	require.Contains(t, text(d.id("earlier")), "with 20 earlier entries")
	require.Len(t, get(t, e, "/s/core/history").class("note"), 50)
}

func TestGlossaryAnchors(t *testing.T) {
	e := serve(t, scenes())
	d := get(t, e, "/s/core/glossary")
	require.Equal(t, "load line", text(d.id("term-load-line").FirstChild.NextSibling))
	require.Equal(t, "multiplier", text(d.id("term-multiplier")))
	for _, n := range get(t, e, "/s/core").class("term") {
		_, anchor, ok := strings.Cut(attr(n, "href"), "#")
		require.True(t, ok)
		d.id(anchor) // exists once
	}
	require.Equal(t, []string{"A", "C", "L"}, texts(d.class("letter")))
}

func TestSheetLink(t *testing.T) {
	e := serve(t, scenes())
	require.Contains(t, get(t, e, "/s/done").raw, `href="/s/done/sheet"`)
	require.NotContains(t, get(t, e, "/s/core").raw, "/sheet\"")
}

func TestSecondaryActionsNeverLead(t *testing.T) {
	s := stepView{}
	s.sortActions(session.Prompt{Actions: []session.Action{{Name: "skip"}, {Name: "stop"}, {Name: "go"}, {Name: "other"}}})
	require.Equal(t, "go", s.Primary.Name)
	require.Equal(t, []actionView{{Name: "skip"}, {Name: "other"}}, s.Others)
	require.Equal(t, "stop", s.Stop.Name)
}
