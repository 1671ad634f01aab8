package heat

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"belay/internal/units"

	"github.com/stretchr/testify/require"
)

func reference(t *testing.T, name string, into any) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "reference", name))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(b, into))
}

type loopReference struct {
	Tolerance struct{ D1, D2, D3, C2 float64 }
	D1        struct {
		Air, Resistance, Power, Temp, Limit float64
		PowerAtLimit                        float64 `json:"power_at_limit"`
	}
	D2 struct {
		Air, Resistance, Dynamic, Leak, Ref, Scale, X, Temp, Unstable, Gain float64

		CriticalR    float64 `json:"critical_r"`
		CriticalTemp float64 `json:"critical_temp"`
		RunawayR     float64 `json:"runaway_r"`
	}
	D3 []struct{ Doubling, Scale float64 }
	C2 struct {
		FromV   float64 `json:"from_v"`
		FromMHz float64 `json:"from_mhz"`
		ToV     float64 `json:"to_v"`
		ToMHz   float64 `json:"to_mhz"`
		Ratio   float64
	}
}

func TestLoopReference(t *testing.T) {
	var ref loopReference
	reference(t, "heat-loop.json", &ref)

	// D1: no leakage. Source: JESD51 definition of thermal resistance.
	s, err := Loop{Air: units.Celsius(ref.D1.Air), Resistance: ref.D1.Resistance, Dynamic: units.Watt(ref.D1.Power), Scale: 40}.Solve()
	require.NoError(t, err)
	require.InDelta(t, ref.D1.Temp, float64(s.Temp), ref.Tolerance.D1)
	exact := exactCooler(ref.D1.Resistance)
	h, err := exact.Hold(units.Celsius(ref.D1.Limit), units.Celsius(ref.D1.Air), 0.9)
	require.NoError(t, err)
	require.InDelta(t, ref.D1.PowerAtLimit, h.Power.Mid, ref.Tolerance.D1)

	// D2: scipy lambertw and plain iteration; condition after Stout 2007.
	d2 := ref.D2
	l := Loop{units.Celsius(d2.Air), d2.Resistance, units.Watt(d2.Dynamic), units.Watt(d2.Leak), units.Celsius(d2.Ref), d2.Scale}
	s, err = l.Solve()
	require.NoError(t, err)
	tol := ref.Tolerance.D2
	require.False(t, s.Runaway)
	require.InDelta(t, d2.Gain, -lambertW0(-d2.X), tol)
	require.InDelta(t, d2.Temp, float64(s.Temp), tol)
	require.InDelta(t, d2.Unstable, float64(s.Unstable), tol)
	require.InDelta(t, d2.Gain, s.Gain, tol)
	require.InDelta(t, d2.CriticalR, s.CriticalR, tol)
	require.InDelta(t, d2.CriticalTemp, float64(s.CriticalTemp), tol)
	plain := d2.Air // plain iteration from the air meets the same point
	for range 200 {
		plain = d2.Air + d2.Resistance*(d2.Dynamic+d2.Leak*math.Exp((plain-d2.Ref)/d2.Scale))
	}
	require.InDelta(t, plain, float64(s.Temp), tol)
	l.Resistance = d2.RunawayR
	s, err = l.Solve()
	require.NoError(t, err)
	require.True(t, s.Runaway)
	require.Contains(t, s.Sentence, "No temperature settles")

	// D3: doubling per so many degrees. Arithmetic.
	for _, d := range ref.D3 {
		require.InDelta(t, d.Scale, d.Doubling/math.Ln2, ref.Tolerance.D3)
		two := Loop{Air: 60, Resistance: 1e-4, Dynamic: 0, Leak: 10, Ref: units.Celsius(60 - d.Doubling), Scale: d.Scale}
		s, err := two.Solve()
		require.NoError(t, err)
		require.InDelta(t, 20, float64(s.Power), 0.01)
	}

	// C2: arithmetic.
	c := ref.C2
	require.InDelta(t, c.Ratio, DynamicRatio(units.Volt(c.FromV), units.Volt(c.ToV), units.Megahertz(c.FromMHz), units.Megahertz(c.ToMHz)), ref.Tolerance.C2)
}

// exactCooler is a model whose only uncertainty is nil, for D1.
func exactCooler(r float64) Model {
	sure := func(v float64) Belief { return Belief{v, 1e-12} }
	p := PriorFor(10)
	p.Resistance = sure(r)
	return Fit(p, nil)
}

func TestTradeFacts(t *testing.T) {
	// 1.26 to 1.35 V with 5.2 to 5.3 GHz: 1.170. Common practice, no source;
	// the factor itself is arithmetic: (1.35/1.26)²·(5.3/5.2) = 1.170035.
	require.InDelta(t, 1.170035, DynamicRatio(1.26, 1.35, 5200, 5300), 1e-5)
	require.True(t, math.IsNaN(DynamicRatio(0, 1, 1, 1)))

	// Near 330 W at the top of the voltage range and near 125 W at 4.2 GHz for
	// ten cores: both lie inside the prior's 90 % range. Common practice, no source.
	m := Fit(PriorFor(10), nil)
	top, err := m.Predict(Point{Load: "scalar", Voltage: 1.33, Clock: 5200, AirTemp: 24}, 0.9)
	require.NoError(t, err)
	require.Less(t, top.Power.Low, 330.0)
	require.Greater(t, top.Power.High, 330.0)
	stock, err := m.Predict(Point{Load: "scalar", Voltage: 1.08, Clock: 4200, AirTemp: 24}, 0.9)
	require.NoError(t, err)
	require.Less(t, stock.Power.Low, 125.0)
	require.Greater(t, stock.Power.High, 125.0)
}

type warmUpReference struct {
	Tolerance struct {
		D4     float64
		Digits int `json:"misra1a_digits"`
	}
	TauS     float64 `json:"tau_s"`
	Fraction []struct {
		TS    float64 `json:"t_s"`
		Share float64
	}
	TimeTo []struct {
		TS    float64 `json:"t_s"`
		Share float64
	} `json:"time_to"`
	HeatStore struct {
		MassKg     float64 `json:"mass_kg"`
		Capacity   float64
		Resistance float64
		TauS       float64 `json:"tau_s"`
	} `json:"heat_store"`
	Misra1a struct {
		X, Y        []float64
		B1, B2, RSS float64
	}
}

func TestWarmUpReference(t *testing.T) {
	var ref warmUpReference
	reference(t, "heat-warmup.json", &ref)
	w := WarmUp{Tau: units.Minutes(ref.TauS / 60)}
	for _, f := range ref.Fraction {
		require.InDelta(t, f.Share, w.Fraction(units.Minutes(f.TS/60)), 1e-7)
	}
	for _, f := range ref.TimeTo {
		require.InDelta(t, f.TS, 60*float64(w.TimeTo(f.Share)), ref.Tolerance.D4)
	}
	hs := ref.HeatStore
	require.InDelta(t, hs.TauS, 60*float64(TauOf(hs.MassKg, hs.Capacity, hs.Resistance)), ref.Tolerance.D4)

	// NIST StRD Misra1a, certified to eleven digits; x is read as minutes.
	var series []Sample
	for i, x := range ref.Misra1a.X {
		series = append(series, Sample{units.Minutes(x), units.Celsius(ref.Misra1a.Y[i])})
	}
	zero := units.Celsius(0)
	f, err := FitWarmUp(series, &zero)
	require.NoError(t, err)
	digits := math.Pow10(-ref.Tolerance.Digits)
	require.InEpsilon(t, ref.Misra1a.B1, f.Rise, digits)
	require.InEpsilon(t, ref.Misra1a.B2, 1/float64(f.Tau), digits)
	require.InEpsilon(t, ref.Misra1a.RSS, f.SD*f.SD*float64(len(series)), digits)
	require.NotEmpty(t, f.Warnings, "the data end far before the plateau")
}
