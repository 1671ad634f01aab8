package cli

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/require"

	"belay/internal/calc"
)

// TestCalcFlagsAreTheKeys holds the flags of each calculator equal to the
// JSON keys of its inputs.
func TestCalcFlagsAreTheKeys(t *testing.T) {
	inputs := map[string]calc.Input{
		"proof": calc.Proof{}, "loadline": calc.LoadLine{}, "heat": calc.Heat{}, "need": calc.Need{},
		"memory": calc.Memory{}, "clocks": calc.Clocks{}, "gain": calc.Gain{}, "wear": calc.Wear{},
	}
	parser, err := kong.New(&commands{}, simulateChoices())
	require.NoError(t, err)
	var names []string
	for _, top := range parser.Model.Children {
		if top.Name != "calc" {
			continue
		}
		for _, node := range top.Children {
			names = append(names, node.Name)
			require.Contains(t, inputs, node.Name)
			var keys, flags []string
			in := reflect.TypeOf(inputs[node.Name])
			for i := range in.NumField() {
				keys = append(keys, in.Field(i).Tag.Get("json"))
			}
			for _, f := range node.Flags {
				flags = append(flags, strings.ReplaceAll(f.Name, "-", "_"))
			}
			require.ElementsMatch(t, append(keys, "json"), flags, node.Name)
		}
	}
	require.ElementsMatch(t, calc.Names(), names)
}

func TestCalc(t *testing.T) {
	r := belay(t, nil, "calc", "clocks", "--standard", "ddr4", "--ns", "15", "--rate", "2133", "--json")
	require.Equal(t, result{0, "{\n  \"nck\": 16,\n  \"warnings\": []\n}\n", ""}, r)

	for _, line := range []string{
		"calc", "calc no-such", "calc proof", "calc proof --hours x", "calc proof --hours 0", "calc loadline --reading 1.2:1.1",
		"calc loadline --reading 1.2:1.1:60 --want 1.2", "calc gain --before 1 --after 0", "calc need --trials",
	} {
		r := belay(t, nil, strings.Fields(line)...)
		require.Equal(t, 2, r.code, line)
		require.Empty(t, r.out, line)
		require.NotEmpty(t, r.err, line)
	}
	file := filepath.Join(t.TempDir(), "trials.jsonl")
	require.NoError(t, os.WriteFile(file, []byte("\n{\"ratio\": 49}\nno\n"), 0o600))
	bad := belay(t, nil, "calc", "need", "--trials", file)
	require.Equal(t, 2, bad.code)
	require.Contains(t, bad.err, "Line 3 is not a trial.")
	require.Equal(t, 1, belay(t, nil, "calc", "need", "--trials", file+"x").code, "a file that is not there")
}
