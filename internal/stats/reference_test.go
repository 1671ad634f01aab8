package stats_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// load decodes testdata/reference/name.json; its origin stands in the
// SOURCE.md of the same name.
func load(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "reference", name+".json"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, into))
}

// relative asserts want within a share tol of it.
func relative(t *testing.T, want, got, tol float64, what string) {
	t.Helper()
	if want == 0 {
		require.InDelta(t, want, got, tol, what)
		return
	}
	require.InEpsilon(t, want, got, tol, what)
}
