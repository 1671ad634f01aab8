package loadline

import (
	"math"
	"strings"
	"testing"

	"belay/internal/fault"
	"belay/internal/units"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// exact gives what a perfect meter reads on a line of r ohm and offset volts.
func exact(r, offset, set, power float64) Reading {
	s := set + offset
	return Reading{units.Volt(set), units.Volt((s + math.Sqrt(s*s-4*r*power)) / 2), units.Watt(power)}
}

func TestFitFindsTheLine(t *testing.T) {
	for _, want := range []struct{ mohm, offset float64 }{{0.4, 0}, {1.1, 0.008}, {1.7, -0.010}, {-0.15, 0}} {
		var readings []Reading
		for _, p := range []float64{40, 90, 150, 220} {
			readings = append(readings, exact(want.mohm/1000, want.offset, 1.25, p))
		}
		l, err := Fit(DefaultPrior(), readings)
		require.NoError(t, err)
		s, err := l.Summary(0.95)
		require.NoError(t, err)
		require.InDelta(t, want.mohm, s.Resistance.Mid, 0.03)
		require.InDelta(t, want.offset, s.Offset.Mid, 0.003)
		require.Less(t, s.Resistance.Low, want.mohm)
		require.Greater(t, s.Resistance.High, want.mohm)
		require.Empty(t, s.Warnings)
		require.Equal(t, 4, s.Readings)
	}
}

func TestFewReadings(t *testing.T) {
	width := func(readings ...Reading) (float64, []string) {
		l, err := Fit(DefaultPrior(), readings)
		require.NoError(t, err)
		s, err := l.Summary(0.9)
		require.NoError(t, err)
		return s.Resistance.High - s.Resistance.Low, s.Warnings
	}
	none, said := width()
	require.Contains(t, said[0], "no readings yet")
	one, said := width(exact(1e-3, 0, 1.25, 150))
	require.Contains(t, said[0], "nearly the same current")
	two, said := width(exact(1e-3, 0, 1.25, 150), exact(1e-3, 0, 1.25, 60))
	require.Empty(t, said)
	require.Less(t, one, none/3)
	require.Less(t, two, one)
	require.Greater(t, two, 0.1, "two readings are no certainty, mΩ")
}

func TestContradictionsAreNamed(t *testing.T) {
	good := []Reading{exact(1e-3, 0, 1.25, 60), exact(1e-3, 0, 1.25, 150), exact(1e-3, 0, 1.25, 200)}
	l, err := Fit(DefaultPrior(), append(good, Reading{1.20, 1.26, 150}))
	require.NoError(t, err)
	require.Contains(t, l.warnings[0], "Reading 4: the load voltage is 60 mV above the set voltage.")
	require.Contains(t, l.warnings[0], "at most 40 mV")
	odd := exact(1e-3, 0, 1.25, 150)
	odd.Load -= 0.120
	l, err = Fit(DefaultPrior(), append(good, odd))
	require.NoError(t, err)
	require.Contains(t, strings.Join(l.warnings, " "), "reading 4 fits least")
	require.Greater(t, l.inflate, 1.5)
}

func TestJudge(t *testing.T) {
	line := func(mohm float64) Line {
		l, err := Fit(DefaultPrior(), []Reading{exact(mohm/1000, 0, 1.25, 60), exact(mohm/1000, 0, 1.25, 150), exact(mohm/1000, 0, 1.25, 220)})
		require.NoError(t, err)
		return l
	}
	cases := map[string]struct {
		mohm, want, watt float64
		ceiling          units.Volt
		finding          Finding
		move             Move
		says             string
	}{
		"sound":             {0.3, 1.25, 220, 1.35, Sound, Stay, "Leave the load line"},
		"droop":             {1.1, 1.20, 220, 1.35, Droop, Flatter, "flatter"},
		"past the ceiling":  {0.45, 1.34, 220, 1.35, Droop, Flatter, "flatter"},
		"no ceiling stated": {0.45, 1.34, 220, 0, Sound, Stay, "Leave"},
		"flat":              {0.03, 1.25, 220, 1.35, TooFlat, Steeper, "steeper"},
		"overshoot":         {-0.25, 1.25, 220, 1.35, Overshoot, Steeper, "rises by"},
	}
	for name, c := range cases {
		v, err := line(c.mohm).Judge(units.Volt(c.want), units.Watt(c.watt), DefaultLimits(c.ceiling))
		require.NoError(t, err, name)
		require.Equal(t, c.finding, v.Finding, name)
		require.Equal(t, c.move, v.Move, name)
		require.Contains(t, v.Sentence, c.says, name)
	}
	prior, err := Fit(DefaultPrior(), nil)
	require.NoError(t, err)
	v, err := prior.Judge(1.25, 150, DefaultLimits(1.35))
	require.NoError(t, err)
	require.Contains(t, strings.Join(v.Warnings, " "), "leave this open")
}

func TestRefusals(t *testing.T) {
	for name, r := range map[string]Reading{
		"set": {0, 1.2, 100}, "load": {1.2, units.Volt(math.NaN()), 100}, "power": {1.2, 1.2, 0}, "far": {1.2, 1.2, 1e6},
	} {
		_, err := Fit(DefaultPrior(), []Reading{r})
		require.True(t, fault.Is(err, fault.Invalid), name)
	}
	l, err := Fit(DefaultPrior(), nil)
	require.NoError(t, err)
	_, err = l.SetFor(5, 100, 0.9)
	require.True(t, fault.Is(err, fault.Invalid))
	_, err = l.SetFor(1.2, -1, 0.9)
	require.True(t, fault.Is(err, fault.Invalid))
	_, err = l.LoadAt(1.2, 100, 1.5)
	require.True(t, fault.Is(err, fault.Invalid))
	_, err = l.LoadAt(1.0, 1000, 0.9)
	require.True(t, fault.Is(err, fault.Unsafe))
	_, err = l.Summary(0)
	require.True(t, fault.Is(err, fault.Invalid))
	_, err = l.Judge(9, 1, Limits{})
	require.True(t, fault.Is(err, fault.Invalid))
}

func TestCurve(t *testing.T) {
	points := []StockPoint{{4800, 1.18}, {4000, 0.98}, {4400, 1.06}}
	c, err := NewCurve(points)
	require.NoError(t, err)
	require.Equal(t, units.Megahertz(4800), points[0].Clock, "the caller's slice stays as it was")
	for clock, want := range map[units.Megahertz]float64{4000: 0.98, 4200: 1.02, 4400: 1.06, 4600: 1.12, 4800: 1.18} {
		v, outside := c.Voltage(clock)
		require.False(t, outside)
		require.InDelta(t, want, float64(v), 1e-12)
	}
	v, outside := c.Voltage(3900)
	require.True(t, outside)
	require.InDelta(t, 0.96, float64(v), 1e-12)
	v, outside = c.Voltage(4900)
	require.True(t, outside)
	require.GreaterOrEqual(t, float64(v), 1.21-1e-12, "no flatter than the last step")
	_, ok := c.Quadratic()
	require.False(t, ok)
	for name, bad := range map[string][]StockPoint{
		"one": {{4000, 1}}, "same clock": {{4000, 1}, {4000, 1.1}}, "falls": {{4000, 1.1}, {4400, 1.0}}, "range": {{0, 1}, {4000, 1.1}},
	} {
		_, err := NewCurve(bad)
		require.True(t, fault.Is(err, fault.Invalid), name)
	}
}

func TestConvert(t *testing.T) {
	const stock = 1.25
	c, err := Convert(Entry{Static, 1.30}, Offset, stock)
	require.NoError(t, err)
	require.InDelta(t, 0.05, float64(c.Value), 1e-12)
	require.Empty(t, c.Warnings)
	c, err = Convert(Entry{Static, 1.20}, Offset, stock)
	require.NoError(t, err)
	require.Contains(t, c.Warnings[0], "lowers light loads")
	c, err = Convert(Entry{Static, 1.45}, Offset, stock)
	require.NoError(t, err)
	require.Contains(t, c.Warnings[0], "offset is large")
	c, err = Convert(Entry{Static, 1.20}, Adaptive, stock)
	require.NoError(t, err)
	require.Contains(t, c.Warnings[0], "Many boards ignore it")
	c, err = Convert(Entry{Offset, -0.03}, Static, stock)
	require.NoError(t, err)
	require.InDelta(t, 1.22, float64(c.Value), 1e-12)
	require.Contains(t, c.Warnings[0], "testing")
	_, err = Convert(Entry{"auto", 1.2}, Static, stock)
	require.True(t, fault.Is(err, fault.Invalid))
	_, err = Convert(Entry{Static, 1.2}, "auto", stock)
	require.True(t, fault.Is(err, fault.Invalid))
	_, err = Convert(Entry{Offset, 1.2}, Static, stock)
	require.True(t, fault.Is(err, fault.Invalid))

	modes := []Mode{Static, Adaptive, Offset}
	rapid.Check(t, func(t *rapid.T) {
		stock := units.Volt(rapid.Float64Range(0.8, 1.4).Draw(t, "stock"))
		from := Entry{Static, units.Volt(rapid.Float64Range(0.8, 1.5).Draw(t, "set"))}
		a, err := Convert(from, rapid.SampledFrom(modes).Draw(t, "a"), stock)
		require.NoError(t, err)
		b, err := Convert(a.Entry, rapid.SampledFrom(modes).Draw(t, "b"), stock)
		require.NoError(t, err)
		back, err := Convert(b.Entry, Static, stock)
		require.NoError(t, err)
		require.InDelta(t, float64(from.Value), float64(back.Value), 1e-12)
		require.InDelta(t, float64(from.Value), float64(back.At), 1e-12)
	})
}

func drawLine(t *rapid.T) (Line, []Reading) {
	r := rapid.Float64Range(-0.2, 1.5).Draw(t, "mohm") / 1000
	off := rapid.Float64Range(-0.02, 0.02).Draw(t, "offset")
	var readings []Reading
	for range rapid.IntRange(0, 5).Draw(t, "n") {
		readings = append(readings, exact(r, off, rapid.Float64Range(1.1, 1.4).Draw(t, "set"), rapid.Float64Range(30, 150).Draw(t, "watt")))
	}
	l, err := Fit(DefaultPrior(), readings)
	require.NoError(t, err)
	return l, readings
}

func TestLineProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, readings := drawLine(t)
		set := units.Volt(rapid.Float64Range(1.05, 1.45).Draw(t, "aim"))
		power := units.Watt(rapid.Float64Range(10, 140).Draw(t, "power"))
		level := rapid.Float64Range(0.5, 0.99).Draw(t, "level")
		load, err := l.LoadAt(set, power, level)
		require.NoError(t, err)
		require.LessOrEqual(t, load.Low, load.Mid)
		require.LessOrEqual(t, load.Mid, load.High)
		// set -> load -> set comes back to where it began.
		back, err := l.SetFor(units.Volt(load.Mid), power, level)
		require.NoError(t, err)
		require.InDelta(t, float64(set), back.Mid, 1e-12)
		// More set voltage is more load voltage; more power is less where the line falls.
		more, err := l.LoadAt(set+0.01, power, level)
		require.NoError(t, err)
		require.Greater(t, more.Mid, load.Mid)
		heavy, err := l.LoadAt(set, power+10, level)
		require.NoError(t, err)
		if l.r > 0 {
			require.Less(t, heavy.Mid, load.Mid)
		} else {
			require.GreaterOrEqual(t, heavy.Mid, load.Mid)
		}
		// One more reading that agrees narrows the answer.
		next, err := Fit(DefaultPrior(), append(readings, Reading{set, units.Volt(load.Mid), power}))
		require.NoError(t, err)
		was, err := l.SetFor(1.2, power, level)
		require.NoError(t, err)
		is, err := next.SetFor(1.2, power, level)
		require.NoError(t, err)
		require.Less(t, is.High-is.Low, 1.02*(was.High-was.Low))
	})
}

// Any readings within range are met with a line, never with a crash.
func TestFitSurvivesAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var readings []Reading
		for range rapid.IntRange(0, 5).Draw(t, "n") {
			readings = append(readings, Reading{
				units.Volt(rapid.Float64Range(0.3, 2).Draw(t, "set")), units.Volt(rapid.Float64Range(0.3, 2).Draw(t, "load")),
				units.Watt(rapid.Float64Range(0.1, 1500).Draw(t, "watt")),
			})
		}
		l, err := Fit(DefaultPrior(), readings)
		require.NoError(t, err)
		s, err := l.SetFor(1.2, 150, 0.9)
		require.NoError(t, err)
		require.False(t, math.IsNaN(s.Low+s.High) || math.IsInf(s.Low+s.High, 0))
	})
}

func BenchmarkFit(b *testing.B) {
	var readings []Reading
	for i := range 20 {
		readings = append(readings, exact(1e-3, 0.004, 1.25, 40+float64(8*i)))
	}
	for b.Loop() {
		if _, err := Fit(DefaultPrior(), readings); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPredict(b *testing.B) {
	l, err := Fit(DefaultPrior(), []Reading{exact(1e-3, 0, 1.25, 60), exact(1e-3, 0, 1.25, 150)})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := l.SetFor(1.25, 180, 0.9); err != nil {
			b.Fatal(err)
		}
	}
}
