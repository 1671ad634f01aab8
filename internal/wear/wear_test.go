package wear_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"belay/internal/fault"
	"belay/internal/units"
	"belay/internal/wear"
)

type heat struct {
	EA     float64 `json:"ea"`
	From   float64 `json:"from_c"`
	To     float64 `json:"to_c"`
	Factor float64 `json:"factor"`
}

type reference struct {
	OldArrhenius []heat  `json:"arrhenius_old_constants"`
	OldInverseK  float64 `json:"old_inverse_k"`
	OldZero      float64 `json:"old_zero_c"`
	Arrhenius    []heat  `json:"arrhenius"`
	Published    struct {
		Factor, Tolerance float64
	} `json:"published_17597"`
	Published133 float64 `json:"published_133"`
	Black        []struct {
		N, J float64
		EA   float64 `json:"ea"`
		From float64 `json:"from_c"`
		To   float64 `json:"to_c"`
		Life float64
	} `json:"black_life"`
	BlackK    float64                     `json:"black_k_ev"`
	PowerLife []struct{ N, Life float64 } `json:"power_life"`
	PowerFrom float64                     `json:"power_from_v"`
	PowerTo   float64                     `json:"power_to_v"`
	ExpLife   []struct{ G, Life float64 } `json:"exponential_life"`
	ExpDV     float64                     `json:"exponential_dv"`
}

// load reads the reference; its origin stands in wear-acceleration.SOURCE.md.
func load(t *testing.T) reference {
	t.Helper()
	data, err := os.ReadFile("../../testdata/reference/wear-acceleration.json")
	require.NoError(t, err)
	var r reference
	require.NoError(t, json.Unmarshal(data, &r))
	require.NotEmpty(t, r.Arrhenius)
	require.NotEmpty(t, r.PowerLife)
	return r
}

// NIST/SEMATECH e-Handbook 8.1.5.1 (tolerance 0.1 %) and ten-degree steps
// computed with the CODATA constant (tolerance 1e-4).
func TestArrhenius(t *testing.T) {
	r := load(t)
	for _, h := range r.Arrhenius {
		got := wear.Arrhenius(h.EA, units.Celsius(h.From), units.Celsius(h.To))
		require.InEpsilon(t, h.Factor, got, 1e-4, "%+v", h)
	}
	require.InEpsilon(t, r.Published.Factor, wear.Arrhenius(1, 25, 125), 1e-3)
	require.InDelta(t, r.Published.Factor, wear.Arrhenius(1, 25, 125), r.Published.Tolerance)
	require.InEpsilon(t, r.Published133, wear.Arrhenius(0.5, 25, 125), 5e-3, "printed to three digits")
	// The handbook's own constants give its own digits, by the same equation.
	for _, h := range r.OldArrhenius {
		old := math.Exp(h.EA * r.OldInverseK * (1/(h.From+r.OldZero) - 1/(h.To+r.OldZero)))
		require.InEpsilon(t, h.Factor, old, 1e-5)
		require.InEpsilon(t, old, wear.Arrhenius(h.EA, units.Celsius(h.From), units.Celsius(h.To)), 1e-3)
	}
}

// Black 1969; JEDEC dictionary after JEP119A. Tolerance 1e-6.
func TestBlack(t *testing.T) {
	for _, b := range load(t).Black {
		got := 1 / (wear.PowerLaw(b.N, b.J) * wear.Arrhenius(b.EA, units.Celsius(b.From), units.Celsius(b.To)))
		require.InDelta(t, b.Life, got, 1e-6, "%+v", b)
	}
}

// Voltage laws with exponents after JEP122. Tolerance 1e-6.
func TestVoltageLaws(t *testing.T) {
	r := load(t)
	for _, p := range r.PowerLife {
		require.InDelta(t, p.Life, 1/wear.PowerLaw(p.N, r.PowerTo/r.PowerFrom), 1e-6)
	}
	for _, e := range r.ExpLife {
		require.InDelta(t, e.Life, 1/wear.Exponential(e.G, r.ExpDV), 1e-6)
	}
}

// The published spread for 50 mV at one temperature: 0.15 to 0.46 of the life
// by the power law; the exponential law reaches a little further up.
func TestBandOfFiftyMillivolts(t *testing.T) {
	got, err := wear.Relative(at(1.25, 70), at(1.30, 70))
	require.NoError(t, err)
	require.InDelta(t, 1/0.1521948, got.High, 1e-4)
	require.InDelta(t, 1/0.6065307, got.Low, 1e-6)
	require.Nil(t, got.Metal)
	require.Len(t, got.Warnings, 1)
	require.Contains(t, got.Warnings[0], "not a lifetime")
}

func at(v units.Volt, t units.Celsius) wear.Condition { return wear.Condition{Voltage: v, Temp: t} }

func TestMetalNeedsBothCurrents(t *testing.T) {
	a, b := at(1.25, 70), at(1.25, 80)
	a.Ampere = 100
	got, err := wear.Relative(a, b)
	require.NoError(t, err)
	require.Nil(t, got.Metal)
	b.Ampere = 120
	got, err = wear.Relative(a, b)
	require.NoError(t, err)
	require.InDelta(t, 1/0.2933225, got.Metal.High, 1e-4, "n 2, 0.9 eV")
	require.Less(t, got.Metal.Low, got.Metal.Mid)
	require.Less(t, got.Metal.Mid, got.Metal.High)
}

func TestWarnings(t *testing.T) {
	far, err := wear.Relative(at(1.0, 70), at(1.3, 70))
	require.NoError(t, err)
	require.Len(t, far.Warnings, 2)
	require.Contains(t, far.Warnings[1], "far apart")
	mixed, err := wear.Relative(at(1.20, 80), at(1.25, 70))
	require.NoError(t, err)
	require.Len(t, mixed.Warnings, 2)
	require.Contains(t, mixed.Warnings[1], "includes 1")
	same, err := wear.Relative(at(1.2, 70), at(1.2, 70))
	require.NoError(t, err)
	require.Equal(t, wear.Band{Low: 1, Mid: 1, High: 1}, same.Band)
	require.Len(t, same.Warnings, 1)
}

func TestRefuses(t *testing.T) {
	good := at(1.2, 70)
	for _, c := range []wear.Condition{
		{}, at(1250, 70), at(-1.2, 70), at(1.2, 300), at(units.Volt(math.NaN()), 70), at(1.2, units.Celsius(math.Inf(1))),
		{Voltage: 1.2, Temp: 70, Ampere: -5}, {Voltage: 1.2, Temp: 70, Ampere: math.NaN()},
	} {
		_, err := wear.Relative(good, c)
		require.True(t, fault.Is(err, fault.Invalid), "%+v", c)
		_, err = wear.Relative(c, good)
		require.True(t, fault.Is(err, fault.Invalid), "%+v", c)
	}
}

// Ordered bands; more voltage or heat never wears less; swapping the sides
// turns the band over; two steps in one direction multiply.
func TestBandProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		volt := rapid.Float64Range(0.9, 1.5)
		temp := rapid.Float64Range(30, 110)
		a := at(units.Volt(volt.Draw(t, "v0")), units.Celsius(temp.Draw(t, "t0")))
		b := at(units.Volt(volt.Draw(t, "v1")), units.Celsius(temp.Draw(t, "t1")))
		f, err := wear.Relative(a, b)
		require.NoError(t, err)
		require.True(t, f.Low <= f.Mid && f.Mid <= f.High && f.Low > 0)
		g, err := wear.Relative(b, a)
		require.NoError(t, err)
		require.InEpsilon(t, 1, f.Low*g.High, 1e-9)
		require.InEpsilon(t, 1, f.Mid*g.Mid, 1e-9)
		if b.Voltage >= a.Voltage && b.Temp >= a.Temp {
			require.GreaterOrEqual(t, f.Low, 1-1e-12)
		}
		hotter := b
		hotter.Temp += 5
		h, err := wear.Relative(a, hotter)
		require.NoError(t, err)
		require.Greater(t, h.Low, f.Low)
		require.Greater(t, h.High, f.High)
	})
}

// The worked example of docs/models/wear.md.
func TestWorkedExample(t *testing.T) {
	got, err := wear.Relative(
		wear.Condition{Voltage: 1.20, Temp: 70, Ampere: 120},
		wear.Condition{Voltage: 1.26, Temp: 78, Ampere: 140})
	require.NoError(t, err)
	doc, err := os.ReadFile("../../docs/models/wear.md")
	require.NoError(t, err)
	require.Contains(t, string(doc), fmt.Sprintf("low %.2f, mid %.2f, high %.1f", got.Low, got.Mid, got.High))
	require.Contains(t, string(doc), fmt.Sprintf("low %.2f, mid %.2f, high %.2f", got.Metal.Low, got.Metal.Mid, got.Metal.High))
}
