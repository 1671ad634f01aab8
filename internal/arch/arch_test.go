// Package arch holds the test of the floors: a package imports only packages
// of lower floors, and only the siblings that are named here.
package arch

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// floors lists every package of the module, lowest floor first.
var floors = [][]string{
	{ // F0 base
		"flows", "api", "web",
		"internal/fault",
		"internal/paper",
		"internal/stats",
		"internal/trial",
		"internal/units",
	},
	{ // F1 models
		"internal/cause",
		"internal/gain",
		"internal/heat",
		"internal/load/march",
		"internal/loadline",
		"internal/memtiming",
		"internal/stability",
		"internal/strictjson",
		"internal/wear",
		"internal/wording",
	},
	{ // F2 core
		"internal/aftermath",
		"internal/calc",
		"internal/card",
		"internal/chart",
		"internal/event",
		"internal/flow",
		"internal/planner",
		"internal/safety",
		"internal/sample",
		"internal/session",
		"internal/sheet",
		"internal/utter",
	},
	{ // F3 adapters
		"internal/bootlog",
		"internal/config",
		"internal/heartbeat",
		"internal/hub",
		"internal/load",
		"internal/load/kernel",
		"internal/load/memory",
		"internal/load/memory/triad",
		"internal/load/yardstick",
		"internal/pair",
		"internal/rig",
		"internal/rig/rigtest",
		"internal/sensorlog",
		"internal/store",
		"internal/store/storetest", "internal/store/lossyfs",
		"internal/virtualrig",
	},
	{ // F4 use cases
		"internal/assist",
		"internal/scene",
		"internal/contest",
	},
	{ // F5 delivery
		"internal/cli",
		"internal/httpapi",
		"internal/page",
	},
	{ // F6 assembly
		"cmd/belay",
		"cmd/dev",
	},
}

// siblings are the imports within a floor. Each has its reason in
// docs/adr/0003-floors.md.
var siblings = map[string][]string{
	"internal/units":           {"internal/fault"},
	"internal/trial":           {"internal/units", "internal/fault"},
	"internal/stats":           {"internal/fault", "internal/units"},
	"internal/paper":           {"internal/fault"},
	"internal/flow":            {"internal/safety"},
	"internal/planner":         {"internal/safety"},
	"internal/session":         {"internal/planner", "internal/safety", "internal/flow", "internal/event"},
	"internal/sheet":           {"internal/session"},
	"internal/card":            {"internal/session"},
	"internal/chart":           {"internal/session"},
	"internal/utter":           {"internal/session", "internal/flow"},
	"internal/store/storetest": {"internal/store"},
	"internal/load":            {"internal/load/kernel", "internal/load/memory"},
	"internal/httpapi":         {"internal/page"},
}

// pure are the packages that have no clock, disk, net or randomness of their
// own: those of the two lower floors and the core. Embedding is not reading.
var impure = []string{"os", "net", "net/http", "os/exec", "crypto/rand", "database/sql", "syscall"}

const module = "belay/"

func floorOf(pkg string) int {
	return slices.IndexFunc(floors, func(f []string) bool { return slices.Contains(f, pkg) })
}

// breaches returns what is wrong with one file's imports.
func breaches(pkg string, imports []string) []string {
	var out []string
	mine := floorOf(pkg)
	if mine < 0 {
		return []string{pkg + " is on no floor"}
	}
	for _, path := range imports {
		if mine <= 2 && slices.Contains(impure, path) {
			out = append(out, pkg+" is pure and imports "+path)
		}
		other, own := strings.CutPrefix(path, module)
		if !own {
			continue
		}
		theirs := floorOf(other)
		switch {
		case theirs < 0:
			out = append(out, pkg+" imports "+other+", which is on no floor")
		case theirs > mine:
			out = append(out, pkg+" imports "+other+" of a higher floor")
		case theirs == mine && !slices.Contains(siblings[pkg], other):
			out = append(out, pkg+" imports its sibling "+other)
		}
	}
	return out
}

func TestFloors(t *testing.T) {
	root := filepath.Join("..", "..")
	seen := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(root, path)
		rel = filepath.ToSlash(rel)
		if d.IsDir() {
			if rel != "." && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata") {
				return fs.SkipDir
			}
			return nil
		}
		pkg := filepath.ToSlash(filepath.Dir(rel))
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || pkg == "internal/arch" {
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		var imports []string
		for _, i := range file.Imports {
			p, _ := strconv.Unquote(i.Path.Value)
			imports = append(imports, p)
		}
		seen++
		require.Empty(t, breaches(pkg, imports), rel)
		return nil
	})
	require.NoError(t, err)
	require.Greater(t, seen, 50, "the test has to see the whole tree")
}

func TestPlantedBreachesAreSeen(t *testing.T) {
	require.Empty(t, breaches("internal/session", []string{"fmt", "belay/internal/planner"}))
	require.NotEmpty(t, breaches("internal/units", []string{"belay/internal/session"}))
	require.NotEmpty(t, breaches("internal/heat", []string{"belay/internal/loadline"}))
	require.NotEmpty(t, breaches("internal/hub", []string{"belay/internal/store"}))
	require.NotEmpty(t, breaches("internal/session", []string{"os"}))
	require.NotEmpty(t, breaches("internal/other", nil))
}

func TestTopLevel(t *testing.T) {
	want := []string{"DEVELOPERS.md", "README.md", "api", "cmd", "docs", "flows", "go.mod", "go.sum", "internal", "testdata", "web"}
	entries, err := os.ReadDir(filepath.Join("..", ".."))
	require.NoError(t, err)
	var got []string
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") {
			got = append(got, e.Name())
		}
	}
	require.Equal(t, want, got)
}
