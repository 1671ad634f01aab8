package utter

import (
	"fmt"
	"hash/fnv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/flow"
	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/units"
)

// utterance is one line of the corpus. docs/formats/utterances.md describes
// the files.
type utterance struct {
	file, state, text, want string
	scene                   Scene
}

// held reports whether the line is in the half that was not looked at while
// the parser was written: FNV-1a of state and text is odd.
func (u utterance) held() bool {
	h := fnv.New32a()
	_, _ = h.Write([]byte(u.state + "\n" + u.text))
	return h.Sum32()%2 == 1
}

// in reports whether the line belongs to a part of the corpus: a half, a file
// or, for "", all of it. The halves leave out what was written later.
func (u utterance) in(part string) bool {
	file, _, _ := strings.Cut(u.file, ":")
	switch part {
	case "":
		return true
	case "held", "written":
		return file != "later.txt" && u.held() == (part == "held")
	}
	return file == part
}

var loadDesktop = sync.OnceValues(func() (*flow.Graph, error) { return flow.Load(os.DirFS("../../flows"), "desktop") })

func desktop(t testing.TB) *flow.Graph {
	t.Helper()
	g, err := loadDesktop()
	require.NoError(t, err)
	return g
}

// fieldsOf are the questions of a state as a prompt has them.
func fieldsOf(g *flow.Graph, state string) []session.Field {
	describe := func(d *flow.Field) session.Field {
		f := session.Field{Name: d.Name, Label: d.Label, Kind: d.Kind, Unit: d.Unit, Example: d.Example}
		if d.Kind == "number" {
			f.Min, f.Max = &d.Min, &d.Max
		}
		for _, c := range d.Choices {
			f.Choices = append(f.Choices, session.Choice{Value: c.Value, Label: c.Label})
		}
		if d.Kind == "readings" {
			f.Rows = &d.Rows
		}
		return f
	}
	out := []session.Field{}
	for _, use := range g.State(state).Fields {
		f := describe(g.Fields[use.Name])
		f.Required, f.Readback, f.NeededIf = use.Required, use.Readback, use.NeededIf
		for _, c := range g.Fields[use.Name].Columns {
			f.Columns = append(f.Columns, describe(g.Fields[c]))
		}
		out = append(out, f)
	}
	return out
}

func readCorpus(t testing.TB, g *flow.Graph) []utterance {
	t.Helper()
	paths, err := filepath.Glob("../../testdata/utterances/*.txt")
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	var out []utterance
	for _, path := range paths {
		body, err := os.ReadFile(path)
		require.NoError(t, err)
		var scene Scene
		state := ""
		for n, line := range strings.Split(string(body), "\n") {
			where := fmt.Sprintf("%s:%d", filepath.Base(path), n+1)
			switch {
			case strings.TrimSpace(line) == "" || strings.HasPrefix(line, "# "):
			case strings.HasPrefix(line, "@ "):
				state, scene = sceneOf(t, g, where, strings.Fields(line)[1:])
			default:
				text, want, ok := strings.Cut(line, " => ")
				require.True(t, ok, "%s: no => in %q", where, line)
				out = append(out, utterance{file: where, state: state, text: text, want: strings.TrimSpace(want), scene: scene})
			}
		}
	}
	return out
}

func sceneOf(t testing.TB, g *flow.Graph, where string, words []string) (string, Scene) {
	t.Helper()
	st := g.State(words[0])
	require.NotNil(t, st, "%s: no state %s", where, words[0])
	s := Scene{Fields: fieldsOf(g, words[0]), Trial: st.Trial, Terms: g.Glossary}
	into := &s.Now
	for _, w := range words[1:] {
		name, value, _ := strings.Cut(w, "=")
		switch name {
		case "now":
		case "next":
			into = &s.Next
		case "ratio", "cache_ratio", "wide_vector_offset", "cl", "trcd", "trp", "tras", "sustained_limit_w", "voltage_mode", "load_line", "memory_profile":
			// not asked for by the parser, named for the reader of the file
		case "set_voltage_v":
			v, err := strconv.ParseFloat(value, 64)
			require.NoError(t, err, where)
			into.SetVoltage = voltOf(v)
		case "data_rate_mts":
			v, err := strconv.Atoi(value)
			require.NoError(t, err, where)
			into.DataRate = v
		case "dram_voltage_v":
			v, err := strconv.ParseFloat(value, 64)
			require.NoError(t, err, where)
			into.DRAMVoltage = voltOf(v)
		default:
			t.Fatalf("%s: unknown setting %s", where, name)
		}
	}
	return words[0], s
}

// verdict of one line.
type verdict int

const (
	right verdict = iota
	missed
	misread
)

// judge compares a reading with what a line expects.
func judge(t testing.TB, u utterance, got Reading) verdict {
	t.Helper()
	want := wantOf(t, u)
	for name, v := range got.Values {
		if !slices.Contains(want.values[name], show(v)) {
			return misread
		}
	}
	switch {
	case want.kind == "command" && got.Kind == Command && got.Command == want.name,
		want.kind == "topic" && got.Kind == Topic && got.Topic == want.name,
		want.kind == "term" && got.Kind == Term && got.Term.Term == want.name,
		want.kind == "refuse" && (got.Kind == Asked || got.Kind == Unknown):
		return right
	case want.kind != "values" || len(got.Values) != len(want.values):
		return missed
	}
	for _, f := range want.asks {
		if !slices.ContainsFunc(got.Asks, func(a Ask) bool {
			return slices.ContainsFunc(a.Fields, func(x session.Field) bool { return x.Name == f })
		}) {
			return missed
		}
	}
	return right
}

type wanted struct {
	kind, name string
	values     map[string][]string
	asks       []string
}

func wantOf(t testing.TB, u utterance) wanted {
	t.Helper()
	w := wanted{values: map[string][]string{}}
	switch u.want[0] {
	case '!':
		return wanted{kind: "command", name: u.want[1:]}
	case '#':
		return wanted{kind: "topic", name: u.want[1:]}
	case '~':
		return wanted{kind: "term", name: u.want[1:]}
	}
	values, asks, asked := strings.Cut(u.want, "?")
	w.kind = "values"
	if w.asks = strings.Fields(asks); asked && strings.TrimSpace(values) == "" && len(w.asks) == 0 {
		w.kind = "refuse"
	}
	for _, pair := range strings.Fields(values) {
		name, value, ok := strings.Cut(pair, "=")
		require.True(t, ok, "%s: %q is not name=value", u.file, pair)
		require.True(t, slices.ContainsFunc(u.scene.Fields, func(f session.Field) bool { return f.Name == name }), "%s: %s does not ask for %s", u.file, u.state, name)
		w.values[name] = []string{strings.ReplaceAll(value, "_", " "), value}
	}
	return w
}

// show prints a value as the corpus does.
func show(v any) string {
	switch v := v.(type) {
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case bool:
		return map[bool]string{true: "yes", false: "no"}[v]
	case []trial.Row:
		var out []string
		for _, row := range v {
			for _, x := range row {
				out = append(out, show(x))
			}
		}
		return strings.Join(out, "/")
	}
	return fmt.Sprint(v)
}

// TestCorpus holds the whole corpus to the bars. BELAY_UTTERANCES=held,
// written or the name of a file looks at that part only.
func TestCorpus(t *testing.T) {
	g := desktop(t)
	half := os.Getenv("BELAY_UTTERANCES")
	all := readCorpus(t, g)
	require.GreaterOrEqual(t, len(all), 600)
	var counts [3]int
	n := 0
	for _, u := range all {
		if !u.in(half) {
			continue
		}
		n++
		got := Read(u.text, u.scene)
		v := judge(t, u, got)
		counts[v]++
		switch {
		case v == right || half == "held":
		case v == misread:
			t.Errorf("%s misread in %s: %q\n  want %s\n  got  %s", u.file, u.state, u.text, u.want, brief(got))
		default:
			t.Logf("%s not understood in %s: %q\n  want %s\n  got  %s", u.file, u.state, u.text, u.want, brief(got))
		}
	}
	t.Logf("%d utterances: %d right (%.1f %%), %d not understood, %d misread", n, counts[right], 100*float64(counts[right])/float64(n), counts[missed], counts[misread])
	require.Zero(t, counts[misread])
	require.GreaterOrEqual(t, float64(counts[right])/float64(n), 0.95)
}

func brief(r Reading) string {
	var parts []string
	for _, f := range r.Found {
		parts = append(parts, f.Field.Name+"="+show(f.Value))
	}
	for _, a := range r.Asks {
		var fs []string
		for _, f := range a.Fields {
			fs = append(fs, f.Name)
		}
		parts = append(parts, fmt.Sprintf("?%s(%s: %s)", a.Reason, a.From, strings.Join(fs, ",")))
	}
	s := string(r.Kind) + " " + r.Topic + r.Command + " " + strings.Join(parts, " ")
	if r.Term != nil {
		s += r.Term.Term
	}
	if len(r.Aside) > 0 {
		s += fmt.Sprintf(" aside %q", r.Aside)
	}
	return s
}

func voltOf(v float64) units.Volt { return units.Volt(v) }
