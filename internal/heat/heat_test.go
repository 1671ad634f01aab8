package heat

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"belay/internal/fault"
	"belay/internal/trial"
	"belay/internal/units"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// rigObs is an invented machine that the tests share: four runs of a sound rig.
func rigObs() []Observation {
	return []Observation{
		{Load: trial.Scalar, Voltage: 1.100, Clock: 4600, CoreTemp: 66, AirTemp: 23, Power: 156},
		{Load: trial.Scalar, Voltage: 1.180, Clock: 4800, CoreTemp: 76, AirTemp: 23, Power: 192},
		{Load: trial.Scalar, Voltage: 1.220, Clock: 4900, CoreTemp: 82, AirTemp: 24, Power: 213},
		{Load: trial.WideVector, Voltage: 1.160, Clock: 4800, CoreTemp: 84, AirTemp: 24, Power: 222},
	}
}

func TestLambertBranches(t *testing.T) {
	// Defining property w·exp(w) = x, on both branches and near the branch point.
	for _, x := range []float64{-0.36787944, -0.3, -0.2, -0.05, -1e-6, 1e-9, 0.5, 1, 3, 1e5, 1e200} {
		w := lambertW0(x)
		require.InEpsilon(t, x, w*math.Exp(w), 1e-9, "W0 of %g", x)
		require.GreaterOrEqual(t, w, -1.0)
		if x < 0 {
			w = lambertWm1(x)
			require.InEpsilon(t, x, w*math.Exp(w), 1e-9, "W-1 of %g", x)
			require.LessOrEqual(t, w, -1.0)
		}
	}
	require.InDelta(t, 0.5671432904097838, lambertW0(1), 1e-15) // omega constant, DLMF 4.13
	w := lambertOfExp(1e6)
	require.InEpsilon(t, 1e6, w+math.Log(w), 1e-12)
}

func TestLoopEdges(t *testing.T) {
	cases := map[string]Loop{
		"no resistance":  {Air: 25, Dynamic: 100, Leak: 10, Ref: 60, Scale: 40},
		"negative power": {Air: 25, Resistance: 0.3, Dynamic: -1, Leak: 10, Ref: 60, Scale: 40},
		"not a number":   {Air: units.Celsius(math.NaN()), Resistance: 0.3, Dynamic: 100, Scale: 40},
		"no scale":       {Air: 25, Resistance: 0.3, Dynamic: 100, Leak: 10},
		"hot reference":  {Air: 25, Resistance: 0.3, Dynamic: 100, Leak: 10, Ref: 900, Scale: 40},
		"leak":           {Air: 25, Resistance: 0.3, Dynamic: 100, Leak: -1, Ref: 60, Scale: 40},
	}
	for name, l := range cases {
		_, err := l.Solve()
		require.True(t, fault.Is(err, fault.Invalid), name)
	}
	near := Loop{Air: 25, Resistance: 0.452, Dynamic: 120, Leak: 20, Ref: 60, Scale: 40}
	s, err := near.Solve()
	require.NoError(t, err)
	require.Greater(t, s.Gain, nearRunaway)
	require.Contains(t, s.Sentence, "heat feeds itself")
	idle := Loop{Air: 25, Resistance: 0.3, Leak: 20, Ref: 60, Scale: 40}
	s, err = idle.Solve()
	require.NoError(t, err)
	idle.Resistance = s.CriticalR * 1.0001
	s, err = idle.Solve()
	require.NoError(t, err)
	require.True(t, s.Runaway)
}

// The two ways of solving agree: Newton inside the model, Lambert W outside.
func TestModelMeetsLoop(t *testing.T) {
	m := Fit(PriorFor(10), rigObs())
	for _, at := range []Point{
		{Load: trial.Scalar, Voltage: 1.2, Clock: 5000, AirTemp: 24},
		{Load: trial.WideVector, Voltage: 1.25, Clock: 5000},
		{Load: trial.Bursty, Voltage: 1.3, Clock: 5200, AirTemp: 30, Minutes: 3},
	} {
		l, err := m.LoopAt(at)
		require.NoError(t, err)
		s, err := l.Solve()
		require.NoError(t, err)
		inner := m.mode.settle(at.drive(), 1)
		require.InDelta(t, inner.temp, float64(s.Temp), 1e-6)
		require.InDelta(t, inner.power, float64(s.Power), 1e-5)
		require.InDelta(t, inner.gain, s.Gain, 1e-8)
	}
	_, err := m.LoopAt(Point{Voltage: 9, Clock: 5000})
	require.True(t, fault.Is(err, fault.Invalid))
}

// No draw is lost where the loop runs away, however fast.
func TestRunawayIsFinite(t *testing.T) {
	m := Fit(PriorFor(10), nil)
	for volt := 1.0; volt < 2; volt += 0.001 {
		for i := range m.draws {
			s := m.draws[i].settle(drive{volt: volt, clock: 5000, air: 38, factor: 0}, 1)
			require.False(t, math.IsNaN(s.power) || math.IsInf(s.power, 0))
			require.LessOrEqual(t, s.temp, topTemp)
		}
	}
}

// The analytic slopes of the fixed point equal central differences.
func TestSlopes(t *testing.T) {
	theta := newProblem(PriorFor(10), nil).mean
	for _, d := range []drive{
		{volt: 1.25, clock: 4900, factor: -1},
		{volt: 1.15, clock: 4800, air: 22, minutes: 2, factor: 0},
	} {
		c := theta.constants()
		temp, logP := c.slopes(d, c.settle(d, 1))
		for i := range theta {
			const h = 1e-5
			up, down := theta, theta
			up[i] += h
			down[i] -= h
			cu, cd := up.constants(), down.constants()
			su, sd := cu.settle(d, 1), cd.settle(d, 1)
			require.InDelta(t, (su.temp-sd.temp)/(2*h), temp[i], 1e-3, "temp %d", i)
			require.InDelta(t, math.Log(su.power/sd.power)/(2*h), logP[i], 1e-5, "power %d", i)
		}
	}
}

func TestPriorAlone(t *testing.T) {
	m := Fit(PriorFor(0), nil)
	p, err := m.Predict(Point{Load: trial.Scalar, Voltage: 1.2, Clock: 4900}, 0.9)
	require.NoError(t, err)
	require.Contains(t, p.Warnings[0], "no readings yet")
	require.Greater(t, p.Temp.High-p.Temp.Low, 30.0, "wide without evidence")
	require.Greater(t, p.Power.High/p.Power.Low, 3.0)

	fitted, err := Fit(PriorFor(0), rigObs()).Predict(Point{Load: trial.Scalar, Voltage: 1.2, Clock: 4900, AirTemp: 24}, 0.9)
	require.NoError(t, err)
	require.Empty(t, fitted.Warnings)
	require.Less(t, fitted.Temp.High-fitted.Temp.Low, 12.0)
	require.InDelta(t, 205, fitted.Power.Mid, 6, "between the runs at 1.18 V and 1.22 V")
}

func TestWarnings(t *testing.T) {
	prior := PriorFor(10)
	predict := func(obs []Observation, at Point) Prediction {
		p, err := Fit(prior, obs).Predict(at, 0.9)
		require.NoError(t, err)
		return p
	}
	p := predict(rigObs(), Point{Load: trial.Mixed, Voltage: 1.2, Clock: 4900})
	require.Contains(t, p.Warnings[0], "no readings yet. Its power is estimated")
	p = predict(rigObs(), Point{Load: trial.Scalar, Voltage: 1.35, Clock: 4900})
	require.Contains(t, p.Warnings[0], "far above everything measured")
	p = predict([]Observation{{Load: trial.Scalar, Voltage: 1.1, Clock: 4600, Power: 150}}, Point{Load: trial.Scalar, Voltage: 1.1, Clock: 4600})
	require.Contains(t, p.Warnings[0], "No core temperature")
	p = predict([]Observation{{Load: trial.Scalar, Voltage: 1.1, Clock: 4600, CoreTemp: 70}}, Point{Load: trial.Scalar, Voltage: 1.1, Clock: 4600})
	require.Contains(t, p.Warnings[0], "No package power")
	p = predict(rigObs(), Point{Load: trial.WideVector, Voltage: 1.8, Clock: 7500, AirTemp: 45})
	require.Greater(t, p.RunawayShare, 0.9)
	require.Equal(t, topTemp, p.Temp.High)
	require.Contains(t, p.Warnings[len(p.Warnings)-1], "no temperature settles")

	odd := append(rigObs(), rigObs()...)
	for i := range odd {
		odd[i].CoreTemp += units.Celsius(15 * float64(i%2*2-1))
	}
	m := Fit(prior, odd)
	require.Greater(t, m.inflate, 2.0)
	s, err := m.Summary(0.9)
	require.NoError(t, err)
	require.Contains(t, s.Warnings[0], "scatter more")
	require.Equal(t, 8, s.Evidence)
}

func TestRefusals(t *testing.T) {
	m := Fit(PriorFor(10), nil)
	good := Point{Load: trial.Scalar, Voltage: 1.2, Clock: 4900}
	for name, at := range map[string]Point{
		"volt": {Voltage: 0.1, Clock: 4900}, "clock": {Voltage: 1.2}, "air": {Voltage: 1.2, Clock: 4900, AirTemp: 99},
		"spread": {Voltage: 1.2, Clock: 4900, VoltageSD: -1}, "minutes": {Voltage: 1.2, Clock: 4900, Minutes: units.Minutes(math.NaN())},
	} {
		_, err := m.Predict(at, 0.9)
		require.True(t, fault.Is(err, fault.Invalid), name)
	}
	_, err := m.Predict(good, 1)
	require.True(t, fault.Is(err, fault.Invalid))
	_, err = m.Summary(0)
	require.True(t, fault.Is(err, fault.Invalid))
	_, err = m.Hold(20, 25, 0.9)
	require.True(t, fault.Is(err, fault.Invalid))
	_, err = m.Hold(25.5, 25, 0.9)
	require.True(t, fault.Is(err, fault.Unsafe))
	_, err = m.Hold(95, 25, 2)
	require.True(t, fault.Is(err, fault.Invalid))
}

func TestHold(t *testing.T) {
	m := Fit(PriorFor(10), rigObs())
	h, err := m.Hold(90, 24, 0.9)
	require.NoError(t, err)
	require.InDelta(t, (90-24)/0.2727, h.Power.Mid, 5) // the rig's own 0.27 to 0.28 K/W
	require.LessOrEqual(t, float64(h.Cap), h.Power.Low)
	require.Zero(t, math.Mod(float64(h.Cap), capStep))
	hot, err := m.Hold(90, 32, 0.9)
	require.NoError(t, err)
	require.Less(t, hot.Power.Mid, h.Power.Mid, "a hotter room holds less")
}

func TestFromTrial(t *testing.T) {
	tr := trial.Trial{
		Load: trial.WideVector, Settings: trial.Settings{Ratio: 50, WideVectorOffset: 2}, Outcome: trial.Clean, Minutes: 10,
		Readings: trial.Readings{LoadVoltage: 1.2, CoreTemp: 80, PackagePower: 220},
	}
	o, ok := FromTrial(tr, 100)
	require.True(t, ok)
	require.Equal(t, units.Megahertz(4800), o.Clock)
	tr.Readings.Clock = 4790
	o, _ = FromTrial(tr, 100)
	require.Equal(t, units.Megahertz(4790), o.Clock)
	tr.Outcome = trial.Throttled
	o, ok = FromTrial(tr, 100)
	require.True(t, ok)
	require.False(t, o.driven())
	tr.Readings.PackagePower = 0
	_, ok = FromTrial(tr, 100)
	require.False(t, ok)
	tr.Outcome = trial.NoBoot
	_, ok = FromTrial(tr, 100)
	require.False(t, ok)
}

func TestCoolerOnlyRuns(t *testing.T) {
	// Runs known by power and temperature alone still teach the cooler.
	obs := []Observation{{Power: 200, CoreTemp: 75, AirTemp: 25}, {Power: 150, CoreTemp: 62, AirTemp: 25, Minutes: 30}}
	before, err := Fit(PriorFor(10), nil).Summary(0.9)
	require.NoError(t, err)
	after, err := Fit(PriorFor(10), obs).Summary(0.9)
	require.NoError(t, err)
	require.InDelta(t, 0.25, after.Resistance.Mid, 0.01)
	require.Less(t, after.Resistance.High-after.Resistance.Low, 0.2*(before.Resistance.High-before.Resistance.Low))
	require.InDelta(t, before.Dynamic.Mid, after.Dynamic.Mid, 0.5, "and nothing about the load")
}

func TestJudgeHeat(t *testing.T) {
	cases := map[string]struct {
		set, clock  units.Megahertz
		temp, limit units.Celsius
		hot         bool
		says        string
	}{
		"cool":              {5000, 4998, 80, 100, false, ""},
		"slowed":            {5000, 4900, 80, 100, true, "slowed itself down"},
		"within slack":      {5000, 4955, 80, 100, false, ""},
		"at the limit":      {5000, 5000, 98.5, 100, true, "within 2 °C"},
		"two degrees under": {5000, 5000, 98, 100, false, ""},
		"nothing read":      {5000, 0, 0, 100, false, ""},
	}
	for name, c := range cases {
		v := JudgeHeat(c.set, c.clock, c.temp, c.limit)
		require.Equal(t, c.hot, v.Hot, name)
		require.Contains(t, v.Sentence, c.says, name)
	}
}

func TestWarmUp(t *testing.T) {
	w := WarmUp{Tau: 1}
	ok, why := w.Ripe(1)
	require.False(t, ok)
	require.Contains(t, why, "63 %")
	ok, why = w.Ripe(4)
	require.True(t, ok)
	require.Empty(t, why)
	require.Zero(t, w.Fraction(-1))
	require.True(t, math.IsNaN(float64(w.TimeTo(1))))

	var series []Sample
	rng := rand.New(rand.NewPCG(7, 7))
	for i := range 40 {
		at := units.Minutes(float64(i) * 0.25)
		series = append(series, Sample{at, units.Celsius(45 + 38*WarmUp{1.8}.Fraction(at) + 0.4*rng.NormFloat64())})
	}
	f, err := FitWarmUp(series, nil)
	require.NoError(t, err)
	require.InDelta(t, 1.8, float64(f.Tau), 0.15)
	require.InDelta(t, 45, float64(f.Start), 1)
	require.InDelta(t, 38, f.Rise, 1)
	require.Empty(t, f.Warnings)

	flat := make([]Sample, 10)
	for i := range flat {
		flat[i] = Sample{units.Minutes(i), units.Celsius(50 + float64(i%2))}
	}
	f, err = FitWarmUp(flat, nil)
	require.NoError(t, err)
	require.Contains(t, strings.Join(f.Warnings, " "), "hardly rises")
	_, err = FitWarmUp(series[:5], nil)
	require.True(t, fault.Is(err, fault.Invalid))
	series[3].Temp = units.Celsius(math.NaN())
	_, err = FitWarmUp(series, nil)
	require.True(t, fault.Is(err, fault.Invalid))
}

func drawPoint(t *rapid.T) Point {
	return Point{
		Load:    trial.Loads[rapid.IntRange(0, len(trial.Loads)-1).Draw(t, "load")],
		Voltage: units.Volt(rapid.Float64Range(0.9, 1.45).Draw(t, "volt")),
		Clock:   units.Megahertz(rapid.Float64Range(3500, 5600).Draw(t, "clock")),
		AirTemp: units.Celsius(rapid.Float64Range(15, 38).Draw(t, "air")),
	}
}

func TestPredictionProperties(t *testing.T) {
	models := []Model{Fit(PriorFor(10), nil), Fit(PriorFor(10), rigObs())}
	rapid.Check(t, func(t *rapid.T) {
		m := models[rapid.IntRange(0, 1).Draw(t, "model")]
		at := drawPoint(t)
		level := rapid.Float64Range(0.5, 0.99).Draw(t, "level")
		base, err := m.Predict(at, level)
		require.NoError(t, err)
		for _, i := range []Interval{base.Temp, base.Power, base.LoopGain} {
			require.LessOrEqual(t, i.Low, i.Mid)
			require.LessOrEqual(t, i.Mid, i.High)
		}
		more := at
		switch rapid.IntRange(0, 2).Draw(t, "what rises") {
		case 0:
			more.Voltage += 0.02
		case 1:
			more.Clock += 100
		case 2:
			more.AirTemp += 3
		}
		up, err := m.Predict(more, level)
		require.NoError(t, err)
		const solved = 1e-6 // how closely the fixed point is solved
		require.Greater(t, up.Temp.Mid, base.Temp.Mid-solved)
		require.Greater(t, up.Temp.High, base.Temp.High-solved)
		require.Greater(t, up.Power.Low, base.Power.Low-solved)
		require.Greater(t, up.Power.Mid, base.Power.Mid-solved)
		wider, err := m.Predict(at, math.Min(0.999, level+0.009))
		require.NoError(t, err)
		require.LessOrEqual(t, wider.Temp.Low, base.Temp.Low)
		require.GreaterOrEqual(t, wider.Temp.High, base.Temp.High)
	})
}

// A reading that agrees with what was expected never widens the prediction.
func TestMoreDataNarrows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := drawPoint(t)
		at.Voltage = min(at.Voltage, 1.3)
		obs := rigObs()[:rapid.IntRange(0, 4).Draw(t, "runs")]
		m := Fit(PriorFor(10), obs)
		before, err := m.Predict(at, 0.9)
		require.NoError(t, err)
		if before.RunawayShare > 0.005 {
			return // cut off at the top, so there is no width to compare
		}
		obs = append(obs, Observation{
			Load: at.Load, Voltage: at.Voltage, Clock: at.Clock, AirTemp: at.AirTemp,
			CoreTemp: units.Celsius(before.Temp.Mid), Power: units.Watt(before.Power.Mid),
		})
		after, err := Fit(PriorFor(10), obs).Predict(at, 0.9)
		require.NoError(t, err)
		require.Less(t, after.Temp.High-after.Temp.Low, 1.02*(before.Temp.High-before.Temp.Low))
		require.Less(t, after.Power.High-after.Power.Low, 1.02*(before.Power.High-before.Power.Low))
	})
}

// Any readings at all are met with a model or passed over, never a crash.
func TestFitSurvivesAnything(t *testing.T) {
	value := rapid.Float64Range(-1000, 10000)
	rapid.Check(t, func(t *rapid.T) {
		var obs []Observation
		for range rapid.IntRange(0, 6).Draw(t, "n") {
			obs = append(obs, Observation{
				Load:    trial.Loads[rapid.IntRange(0, 5).Draw(t, "load")],
				Voltage: units.Volt(rapid.Float64Range(-1, 3).Draw(t, "v")), Clock: units.Megahertz(value.Draw(t, "f")),
				CoreTemp: units.Celsius(value.Draw(t, "t")), AirTemp: units.Celsius(rapid.Float64Range(-40, 60).Draw(t, "a")),
				Power: units.Watt(value.Draw(t, "p")), Minutes: units.Minutes(value.Draw(t, "m")),
			})
		}
		p, err := Fit(PriorFor(10), obs).Predict(Point{Load: trial.Scalar, Voltage: 1.2, Clock: 4900, AirTemp: 24}, 0.9)
		require.NoError(t, err)
		for _, v := range []float64{p.Temp.Low, p.Temp.High, p.Power.Low, p.Power.High} {
			require.False(t, math.IsNaN(v) || math.IsInf(v, 0))
		}
	})
}

func BenchmarkFit(b *testing.B) {
	var obs []Observation
	for range 3 {
		obs = append(obs, rigObs()...)
	}
	prior := PriorFor(10)
	for b.Loop() {
		Fit(prior, obs)
	}
}

func BenchmarkPredict(b *testing.B) {
	m := Fit(PriorFor(10), rigObs())
	at := Point{Load: trial.Scalar, Voltage: 1.25, Clock: 5100, AirTemp: 24}
	for b.Loop() {
		if _, err := m.Predict(at, 0.9); err != nil {
			b.Fatal(err)
		}
	}
}
