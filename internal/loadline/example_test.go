package loadline

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// The worked example of docs/models/loadline.md gives the numbers printed there.
func TestWorkedExample(t *testing.T) {
	page, err := os.ReadFile(filepath.Join("..", "..", "docs", "models", "loadline.md"))
	require.NoError(t, err)
	shows := func(format string, args ...any) {
		t.Helper()
		require.Contains(t, string(page), fmt.Sprintf(format, args...))
	}
	l, err := Fit(DefaultPrior(), []Reading{{1.200, 1.168, 60}, {1.250, 1.172, 150}, {1.300, 1.188, 215}})
	require.NoError(t, err)
	s, err := l.Summary(0.95)
	require.NoError(t, err)
	shows("R = %.3f mΩ (%.3f to %.3f)", s.Resistance.Mid, s.Resistance.Low, s.Resistance.High)
	shows("offset %+.1f mV", 1000*s.Offset.Mid)
	set, err := l.SetFor(1.21, 200, 0.9)
	require.NoError(t, err)
	shows("set %.3f V (%.3f to %.3f)", set.Mid, set.Low, set.High)
	v, err := l.Judge(1.21, 200, DefaultLimits(1.35))
	require.NoError(t, err)
	shows("%s", v.Sentence)
}
