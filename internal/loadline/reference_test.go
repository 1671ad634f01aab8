package loadline

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"belay/internal/fault"
	"belay/internal/units"

	"github.com/stretchr/testify/require"
)

func reference(t *testing.T, name string, into any) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "reference", name))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(b, into))
}

func TestPublishedLimits(t *testing.T) {
	// Source: voltage-regulator-module design guidelines 10.2, sections 2.1 and 2.2.
	var ref struct {
		Tolerance  float64
		Resistance float64 `json:"resistance_mohm"`
		VID        float64
		Band       float64 `json:"band_mv"`
		Points     []struct{ Amps, Upper, Lower float64 }
		Step       struct {
			Amps     float64
			Droop    float64 `json:"droop_mv"`
			LowerSet float64 `json:"lower_set_mv"`
			HalfAmps float64 `json:"half_slope_amps"`
			Gain     float64 `json:"gain_mv"`
		}
	}
	reference(t, "loadline-limits.json", &ref)
	upper := Line{prior: DefaultPrior(), r: ref.Resistance / 1000, inflate: 1}
	lower := upper
	lower.offset = -ref.Band / 1000
	loaded := func(l Line, set, amps, near float64) float64 {
		v, err := l.LoadAt(units.Volt(set), units.Watt(amps*near), 0.9)
		require.NoError(t, err)
		return v.Mid
	}
	for _, p := range ref.Points {
		require.InDelta(t, p.Upper, loaded(upper, ref.VID, p.Amps, p.Upper), ref.Tolerance)
		require.InDelta(t, p.Lower, loaded(lower, ref.VID, p.Amps, p.Lower), ref.Tolerance)
		set, err := upper.SetFor(units.Volt(p.Upper), units.Watt(p.Amps*p.Upper), 0.9)
		require.NoError(t, err)
		require.InDelta(t, ref.VID, set.Mid, ref.Tolerance)
		// 10 mV less set is 10 mV less at every current.
		less := ref.Step.LowerSet / 1000
		require.InDelta(t, p.Upper-less, loaded(upper, ref.VID-less, p.Amps, p.Upper-less), ref.Tolerance)
	}
	s := ref.Step
	require.InDelta(t, s.Droop/1000, ref.VID-loaded(upper, ref.VID, s.Amps, ref.VID-s.Droop/1000), ref.Tolerance)
	half := upper
	half.r /= 2
	full := ref.VID - upper.r*s.HalfAmps
	require.InDelta(t, s.Gain/1000, loaded(half, ref.VID, s.HalfAmps, full+s.Gain/1000)-loaded(upper, ref.VID, s.HalfAmps, full), ref.Tolerance)
}

type fitReference struct{ K, Vt, Alpha, RMS float64 }

type tableReference struct {
	MHz     []float64
	V       []float64
	BestTop float64 `json:"best_bin_top_v"`
	Spread  float64 `json:"bin_spread_mv"`
	Line    struct{ Slope, Intercept float64 }
	Slopes  []float64

	Quadratic []float64
	Free      fitReference `json:"alpha_free"`
	Kept      fitReference `json:"alpha_kept"`
}

func (r tableReference) points() []StockPoint {
	var out []StockPoint
	for i, f := range r.MHz {
		out = append(out, StockPoint{units.Megahertz(f), units.Volt(r.V[i])})
	}
	return out
}

type curveReference struct {
	A, B tableReference
	Law  struct {
		Tolerance, Alpha, Vt, At, Elasticity float64

		Ratio      []struct{ V, F float64 }
		VoltageFor []struct{ V, F float64 } `json:"voltage_for"`
		SlopeClock float64                  `json:"slope_clock"`
		Slope      []struct{ V, MV float64 }
	}
}

func TestStockCurves(t *testing.T) {
	// Source: operating-point tables of two embedded parts, see the SOURCE note.
	var ref curveReference
	reference(t, "loadline-curves.json", &ref)
	a, err := NewCurve(ref.A.points())
	require.NoError(t, err)
	slope, intercept := a.Line()
	require.InDelta(t, ref.A.Line.Slope, slope, 1e-3)
	require.InDelta(t, ref.A.Line.Intercept, intercept, 1e-3)
	require.InDeltaSlice(t, ref.A.Slopes, a.Slopes(), 0.05)
	q, ok := a.Quadratic()
	require.True(t, ok)
	for i := range q {
		require.InEpsilon(t, ref.A.Quadratic[i], q[i], 1e-6)
	}
	require.InDelta(t, ref.A.Spread, 1000*(ref.A.V[5]-ref.A.BestTop), 1e-9)
	for _, f := range []struct {
		want  fitReference
		given float64
	}{{ref.A.Free, 0}, {ref.A.Kept, 1.3}} {
		law, err := FitAlphaPower(ref.A.points(), f.given)
		require.NoError(t, err)
		require.InEpsilon(t, f.want.K, law.K, 0.01)
		require.InEpsilon(t, f.want.Vt, float64(law.Vt), 0.01)
		require.InEpsilon(t, f.want.Alpha, law.Alpha, 0.01)
		rss := 0.0
		for _, p := range ref.A.points() {
			d := float64(law.Clock(p.Voltage) - p.Clock)
			rss += d * d
		}
		require.InEpsilon(t, f.want.RMS, math.Sqrt(rss/6), 0.01)
	}

	b, err := NewCurve(ref.B.points())
	require.NoError(t, err)
	slope, _ = b.Line()
	require.InDelta(t, ref.B.Line.Slope, slope, 1e-3)
	require.InDeltaSlice(t, ref.B.Slopes, b.Slopes(), 0.05)
	// The flat last step must not be taken for what the next clock needs.
	next, outside := b.Voltage(2500)
	require.True(t, outside)
	require.Greater(t, 1000*float64(next-1.000), ref.B.Line.Slope)
}

func TestAlphaPowerLaw(t *testing.T) {
	// Source: Sakurai & Newton 1990; numbers computed with scipy.
	var ref curveReference
	reference(t, "loadline-curves.json", &ref)
	l := ref.Law
	law := AlphaPower{K: 1, Vt: units.Volt(l.Vt), Alpha: l.Alpha}
	base := law.Clock(units.Volt(l.At))
	for _, r := range l.Ratio {
		require.InDelta(t, r.F, float64(law.Clock(units.Volt(r.V))/base), l.Tolerance)
	}
	require.InDelta(t, l.Elasticity, law.Elasticity(units.Volt(l.At)), l.Tolerance)
	for _, r := range l.VoltageFor {
		v, err := law.Voltage(base * units.Megahertz(r.F))
		require.NoError(t, err)
		require.InDelta(t, r.V, float64(v), l.Tolerance)
	}
	for _, r := range l.Slope {
		require.InDelta(t, r.MV, law.Slope(units.Volt(r.V), units.Megahertz(l.SlopeClock)), 5e-5) // printed to four decimals
	}
	require.Zero(t, law.Clock(0.3))
	_, err := law.Voltage(1e9)
	require.True(t, fault.Is(err, fault.Invalid))
	_, err = FitAlphaPower(ref.A.points()[:3], 0)
	require.True(t, fault.Is(err, fault.Invalid))
}
