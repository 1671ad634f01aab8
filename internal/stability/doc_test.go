package stability

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
	"belay/internal/units"
)

// example is the JSON block of docs/models/stability.md.
type example struct {
	RatioRef units.Ratio `json:"ratio_ref"`
	VRef     units.Volt  `json:"delivered_load_voltage_v"`
	Trials   []struct {
		Ratio   units.Ratio   `json:"ratio"`
		V       units.Volt    `json:"load_voltage_v"`
		Planned units.Minutes `json:"planned_minutes"`
		Outcome trial.Outcome `json:"outcome"`
		Minutes units.Minutes `json:"minutes"`
	} `json:"trials"`
	At struct {
		Ratio   units.Ratio `json:"ratio"`
		TargetH float64     `json:"target_h"`
		Keep    units.Volt  `json:"keep_v"`
	} `json:"at"`
	TenMinutes [3]units.Volt `json:"ten_minutes_v"`
	Target     [3]units.Volt `json:"target_v"`
	Slope      [3]float64    `json:"slope_mv_per_decade"`
	Confidence float64       `json:"confidence"`
}

func readExample(t *testing.T) (e example, text string) {
	t.Helper()
	data, err := os.ReadFile("../../docs/models/stability.md")
	require.NoError(t, err)
	text = string(data)
	_, block, ok := strings.Cut(text, "```json\n")
	require.True(t, ok)
	block, _, ok = strings.Cut(block, "```")
	require.True(t, ok)
	require.NoError(t, json.Unmarshal([]byte(block), &e))
	return e, text
}

func (e *example) observations(t *testing.T) []Observation {
	t.Helper()
	var obs []Observation
	for _, x := range e.Trials {
		o, ok := FromTrial(trial.Trial{
			Load: trial.Scalar, Settings: trial.Settings{Ratio: x.Ratio}, PlannedMinutes: x.Planned,
			Outcome: x.Outcome, Minutes: x.Minutes, Readings: trial.Readings{LoadVoltage: x.V},
		})
		require.True(t, ok)
		obs = append(obs, o)
	}
	require.Len(t, obs, 6)
	return obs
}

func TestWorkedExample(t *testing.T) {
	e, text := readExample(t)
	p, err := Fit(DefaultPrior(e.RatioRef, e.VRef), e.observations(t))
	require.NoError(t, err)
	band := p.NeedBand(trial.Scalar, e.At.Ratio, 75, e.At.TargetH)
	for i, got := range []units.Volt{band.TenMinutes.Q05, band.TenMinutes.Q50, band.TenMinutes.Q95} {
		require.InDelta(t, float64(e.TenMinutes[i]), float64(got), 0.0006)
	}
	for i, got := range []units.Volt{band.Target.Q05, band.Target.Q50, band.Target.Q95} {
		require.InDelta(t, float64(e.Target[i]), float64(got), 0.0006)
	}
	lo, mid, hi := p.SlopePerDecade()
	for i, got := range []float64{lo, mid, hi} {
		require.InDelta(t, e.Slope[i], got, 0.06)
	}
	require.InDelta(t, e.Confidence, p.Confidence(trial.Scalar, e.At.Ratio, e.At.Keep, 75, e.At.TargetH), 0.0006)
	night, _, _, err := ModelFree(0, 8, 0.95)
	require.NoError(t, err)
	require.InDelta(t, 2.67, night, 0.005)
	require.Contains(t, text, "only 2.67 h between failures")
	require.Contains(t, text, fmt.Sprintf("lattice of %d points", len(fine.points)))
	require.Contains(t, text, fmt.Sprintf("%d cells per point", cells))
}

// The same numbers from a plain sum over all four unknowns.
func TestWorkedExampleAgainstDenseSum(t *testing.T) {
	e, _ := readExample(t)
	obs := e.observations(t)
	efolds := math.Log(6 * e.At.TargetH)
	p, err := Fit(DefaultPrior(e.RatioRef, e.VRef), obs)
	require.NoError(t, err)
	band := p.NeedBand(trial.Scalar, e.At.Ratio, 75, e.At.TargetH)
	tenQ := [3]units.Volt{band.TenMinutes.Q05, band.TenMinutes.Q50, band.TenMinutes.Q95}
	targetQ := [3]units.Volt{band.Target.Q05, band.Target.Q50, band.Target.Q95}
	var sum, keep float64
	var ten, target [3]float64
	for a := 1090.0; a < 1225; a += 1.5 {
		for b := -4.0; b < 76; b += 2.5 {
			for c := -2.5; c < 4.6; c += 0.7 {
				for u := -1.2; u < 1.25; u += 0.1 {
					s := 6.14 * math.Exp(u)
					za, zb, zc, zu := (a-1170)/65, (b-35)/12, c-1, u/0.22
					w := math.Exp(-(za*za + zb*zb + zc*zc + zu*zu) / 2)
					for _, o := range obs {
						d := float64(o.Ratio - 47)
						w *= plain(o, a+b*d+c*d*d, s, 0.01)
					}
					sum += w
					need := a + 2*b + 4*c
					below := func(v units.Volt, need float64) float64 {
						return w * math.Min(math.Max((v.Millivolts()-need)/1.5+0.5, 0), 1)
					}
					for i := range ten {
						ten[i] += below(tenQ[i], need)
						target[i] += below(targetQ[i], need+s*efolds)
					}
					keep += below(e.At.Keep, need+s*efolds)
				}
			}
		}
	}
	for i, u := range []float64{0.05, 0.5, 0.95} {
		require.InDelta(t, u, ten[i]/sum, 0.02, "ten minutes")
		require.InDelta(t, u, target[i]/sum, 0.02, "target")
	}
	require.InDelta(t, e.Confidence, keep/sum, 0.01)
}
