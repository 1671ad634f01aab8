package memtiming

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// The worked example of docs/models/memory.md gives the numbers printed there.
func TestWorkedExample(t *testing.T) {
	page, err := os.ReadFile(filepath.Join("..", "..", "docs", "models", "memory.md"))
	require.NoError(t, err)
	shows := func(format string, args ...any) {
		t.Helper()
		require.Contains(t, string(page), fmt.Sprintf(format, args...))
	}
	shows("CL %.2f ns, tRCD %.2f ns, tRAS %.2f ns, %.1f GB/s per channel",
		Nanoseconds(kit4.CL, kit4.Rate), Nanoseconds(kit4.TRCD, kit4.Rate), Nanoseconds(kit4.TRAS, kit4.Rate), PeakBandwidth(kit4.Rate, 1))
	d, err := Dependents(kit4, 8, 0)
	require.NoError(t, err)
	shows("tRC %d, tRFC %d, tREFI %d clocks, %.2f %% of the time", d.RowCycle, d.Refresh, d.RefreshEvery, 100*d.RefreshShare)
	for _, c := range Next(kit4, EvenWorkload, 0, 1.45) {
		shows("| %s | %.2f %% |", c.Changed, 100*c.Gain)
	}
	c, err := CoverageOf(320e9, 32e9, 0.95)
	require.NoError(t, err)
	shows("%s", c.Sentence)
}
