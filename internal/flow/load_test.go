package flow

import (
	"bytes"
	"flag"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/safety"
)

var update = flag.Bool("update", false, "rewrite golden files")

// goodFiles is the small sound flow of the tests, to be changed at will.
func goodFiles(t testing.TB) fstest.MapFS {
	t.Helper()
	files := fstest.MapFS{}
	root := os.DirFS("testdata/good")
	require.NoError(t, fs.WalkDir(root, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := fs.ReadFile(root, path)
		files[path] = &fstest.MapFile{Data: data}
		return err
	}))
	return files
}

func goodGraph(t testing.TB) *Graph {
	t.Helper()
	g, err := Load(goodFiles(t), "small")
	require.NoError(t, err)
	return g
}

func TestLoad(t *testing.T) {
	g := goodGraph(t)
	require.Equal(t, "small", g.Name)
	require.Equal(t, "core.enter", g.Start)
	require.Equal(t, "stopped", g.StopState)
	require.Len(t, g.States, 7, "four of the file, three of the pattern")

	enter := g.State("core.enter")
	require.Equal(t, "core", enter.Stage, "the part before the point")
	require.Equal(t, []string{"ratio", "set_voltage_v"}, enter.Actions[0].Needs, "default: the required fields")
	require.Equal(t, "core.run", enter.Actions[0].Branches[1].To, "a relative target is resolved")
	require.Nil(t, enter.Actions[0].Branches[1].When)
	require.Equal(t, []safety.Touch{safety.SetCoreVoltage}, enter.Touches)
	require.Equal(t, "Ratio {ratio} comes next.\n\nIt needs a [[set voltage|voltage]] of its own.", enter.Say)

	run := g.State("core.run")
	require.Equal(t, []safety.Touch{safety.ReadVoltage, safety.RunLoad}, run.Touches, "a column counts as the field")
	require.Empty(t, run.Action("back").Needs, "[] is not the default")
	require.Nil(t, run.Action("forward"))

	hot := g.State("core.hot")
	require.Equal(t, "core", hot.Stage)
	require.Equal(t, "core.enter", hot.Actions[0].Branches[0].To)
	require.Nil(t, g.State("core.nowhere"))
	require.InDelta(t, 1.35, float64(g.Platform.Limits.CoreCeiling), 0)
	require.Len(t, g.Causes.Causes, 2)
}

func TestNames(t *testing.T) {
	files := goodFiles(t)
	files["another.yaml"] = &fstest.MapFile{Data: []byte("flow: another\n")}
	files["Not A Name.yaml"] = &fstest.MapFile{}
	names, err := Names(files)
	require.NoError(t, err)
	require.Equal(t, []string{"another", "small"}, names)
}

func TestLoadAcceptsADocumentMark(t *testing.T) {
	files := goodFiles(t)
	files["small.yaml"].Data = append([]byte("---\n"), files["small.yaml"].Data...)
	_, err := Load(files, "small")
	require.NoError(t, err)
}

func TestLoadNamesWhatIsMissing(t *testing.T) {
	files := goodFiles(t)
	for _, name := range companions {
		delete(files, name)
	}
	_, err := Load(files, "small")
	var problems *Problems
	require.ErrorAs(t, err, &problems)
	require.Len(t, *problems, 3)
	for i, name := range []string{"causes.yaml", "cautions.yaml", "glossary.yaml"} {
		require.Equal(t, Problem{File: name, Line: 1, Column: 1, Message: "The file is missing.", Next: "Add the file to the folder."}, (*problems)[i])
	}
}

func TestLoadRefusesNames(t *testing.T) {
	for _, name := range []string{"none", "cautions", "../good/small", "", "platforms/bench"} {
		_, err := Load(goodFiles(t), name)
		require.True(t, fault.Is(err, fault.NotFound), "%q: %v", name, err)
	}
}

func TestProblemsAreAnInvalidFault(t *testing.T) {
	files := goodFiles(t)
	files["small.yaml"].Data = []byte("flow: small\n")
	_, err := Load(files, "small")
	var problems *Problems
	require.ErrorAs(t, err, &problems)
	require.True(t, fault.Is(err, fault.Invalid))
}

func TestPackIsDeterministic(t *testing.T) {
	a, err := Pack(goodFiles(t), "small")
	require.NoError(t, err)
	crlf := goodFiles(t)
	for _, f := range crlf {
		f.Data = []byte(strings.ReplaceAll(string(f.Data), "\n", "\r\n"))
	}
	b, err := Pack(crlf, "small")
	require.NoError(t, err)
	require.Equal(t, string(a), string(b), "line ends make no difference")

	g, err := Unpack(a)
	require.NoError(t, err)
	require.Equal(t, goodGraph(t).Hash, g.Hash)
	require.Len(t, g.Hash, 64)

	changed := goodFiles(t)
	changed["glossary.yaml"].Data = append(changed["glossary.yaml"].Data, "  - {term: droop, text: What is lost.}\n"...)
	other, err := Load(changed, "small")
	require.NoError(t, err)
	require.NotEqual(t, g.Hash, other.Hash, "a companion is part of the flow")
}

func TestUnpackRefusesDamage(t *testing.T) {
	body, err := Pack(goodFiles(t), "small")
	require.NoError(t, err)
	for name, bad := range map[string][]byte{
		"empty": {}, "cut": body[:len(body)/2], "garbage after": append(append([]byte{}, body...), "{}"...),
		"blanks": []byte(" " + string(body)), "unknown key": []byte(`{"flow":"small","files":{},"more":1}`),
	} {
		_, err := Unpack(bad)
		require.True(t, fault.Is(err, fault.Corrupt), "%s: %v", name, err)
	}
	_, err = Unpack([]byte(`{"flow":"small","files":{}}` + "\n"))
	require.True(t, fault.Is(err, fault.Invalid), "%v", err)
}

func TestDraw(t *testing.T) {
	golden(t, "testdata/small.mmd", goodGraph(t).Draw())
}

// golden compares with a file, or rewrites it with -update.
func golden(t *testing.T, file, got string) {
	t.Helper()
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(want), got)
}

// TestA30HostileFiles: each is refused with the expected words and without
// building anything large. Sizes are those of security.md's limits.
func TestA30HostileFiles(t *testing.T) {
	bomb := "a: &a [x, x, x, x, x, x, x, x, x]\n"
	for c := 'b'; c <= 'i'; c++ {
		p := string(c - 1)
		bomb += string(c) + ": &" + string(c) + " [*" + strings.Repeat(p+", *", 8) + p + "]\n"
	}
	indent := ""
	for i := range 600 {
		indent += strings.Repeat(" ", i) + "a:\n"
	}
	const full = maxBytes
	for name, c := range map[string]struct{ text, want string }{
		"alias bomb":    {bomb, "Anchors, aliases and merge keys are not read."},
		"brackets":      {strings.Repeat("[", full), "nested more than 32 deep"},
		"braces":        {strings.Repeat("{a: ", full/4), "nested more than 32 deep"},
		"dashes":        {strings.Repeat("- ", full/2), "nested more than 32 deep"},
		"question":      {strings.Repeat("? ", full/2), "Keys after a question mark"},
		"indents":       {indent, "nested more than 32 deep"},
		"keys in a row": {strings.Repeat("a: ", full/3), "nested more than 32 deep"},
		"large":         {strings.Repeat("#", full+1), "at most 262144 are read"},
		"huge":          {strings.Repeat("#", 2*full+1), "at most 262144 are read"},
		"second":        {"flow: small\n---\nflow: small\n", "A second document begins here."},
		"tag":           {"flow: !!str small\n", "Tags are not read."},
		"merge":         {"<<: {flow: small}\n", "Anchors, aliases and merge keys are not read."},
		"directive":     {"%YAML 1.2\n---\nflow: small\n", "Directives are not read."},
		"latin 1":       {"title: caf\xe9\n", "This is not UTF-8 text."},
		"bidi":          {"title: a\u202eb\n", "invisible character here (U+202E)"},
		"empty":         {"", "The file is empty."},
		"list":          {"- a\n- b\n", "the file must hold keys, not a list"},
		"scalar":        {"hello\n", "the file must hold keys, not a text"},
	} {
		t.Run(name, func(t *testing.T) {
			files := goodFiles(t)
			files["small.yaml"].Data = []byte(c.text)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			_, err := Load(files, "small")
			runtime.ReadMemStats(&after)
			require.ErrorContains(t, err, c.want)
			require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(128<<20), "bytes allocated in all")
		})
	}
}

func TestLongLineIsClipped(t *testing.T) {
	p := Problem{File: "f.yaml", Line: 3, Column: 1001, Source: strings.Repeat("é", 1000) + "X" + strings.Repeat("é", 9000), Message: "m", Next: "n"}
	lines := strings.Split(p.String(), "\n")
	require.Less(t, len([]rune(lines[1])), 200)
	require.Equal(t, 'X', []rune(lines[1])[strings.Index(lines[2], "^")], "the mark is below the place")
}

func FuzzLoad(f *testing.F) {
	good := goodFiles(f)
	f.Add(good["small.yaml"].Data)
	for _, s := range []string{"", "a: [", "- - -", "flow: small\nstates:\n  - id: .x\n", "\"", "? a\n", "a: |\n", "a: b: c", "{a: {b: [", "a: 1e3\n", "states: [{id: a.b, fields: [{name: ratio, needed_if: {ratio: [x]}}]}]"} {
		f.Add([]byte(s))
	}
	seeds, err := filepath.Glob("testdata/broken/*.txt")
	require.NoError(f, err)
	for _, seed := range seeds {
		if data := readCase(f, seed).files(f)["small.yaml"].Data; !bytes.Equal(data, good["small.yaml"].Data) {
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 64<<10 {
			return
		}
		files := fstest.MapFS{}
		for name, file := range good {
			files[name] = file
		}
		files["small.yaml"] = &fstest.MapFile{Data: data}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		g, err := Load(files, "small")
		runtime.ReadMemStats(&after)
		require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(64<<20))
		if err == nil {
			require.NotEmpty(t, g.Draw())
			return
		}
		require.NotEmpty(t, err.Error())
		require.NotEqual(t, fault.Internal, fault.CodeOf(err))
	})
}
