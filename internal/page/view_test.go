package page

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/wording"
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
	require.Equal(t, wording.Pair{Label: "Confidence", Value: "not enough evidence yet"}, k.Claims[2])
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
