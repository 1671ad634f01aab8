package heat

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"belay/internal/trial"

	"github.com/stretchr/testify/require"
)

// The worked example of docs/models/heat.md gives the numbers printed there.
func TestWorkedExample(t *testing.T) {
	page, err := os.ReadFile(filepath.Join("..", "..", "docs", "models", "heat.md"))
	require.NoError(t, err)
	shows := func(format string, args ...any) {
		t.Helper()
		require.Contains(t, string(page), fmt.Sprintf(format, args...))
	}
	s, err := Loop{Air: 25, Resistance: 0.30, Dynamic: 120, Leak: 20, Ref: 60, Scale: 40}.Solve()
	require.NoError(t, err)
	shows("T = %.2f °C, P = %.1f W, loop gain %.3f, critical R = %.3f K/W at %.1f °C",
		float64(s.Temp), float64(s.Power), s.Gain, s.CriticalR, float64(s.CriticalTemp))

	m := Fit(PriorFor(10), rigObs())
	p, err := m.Predict(Point{Load: trial.Scalar, Voltage: 1.25, Clock: 5000, AirTemp: 24}, 0.9)
	require.NoError(t, err)
	shows("T %.0f to %.0f °C (middle %.0f)", p.Temp.Low, p.Temp.High, p.Temp.Mid)
	shows("P %.0f to %.0f W (middle %.0f)", p.Power.Low, p.Power.High, p.Power.Mid)
	h, err := m.Hold(90, 24, 0.9)
	require.NoError(t, err)
	shows("%.0f to %.0f W at 90 °C, cap %.0f W", h.Power.Low, h.Power.High, float64(h.Cap))
}
