package sample

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
)

// values reads voltage, temperature, power and clock.
func values(v, t, p, c float64) Values {
	x := None()
	x[Voltage], x[Temp], x[Power], x[Clock] = v, t, p, c
	return x
}

// warming is a load of n seconds with a first-order rise of the temperature.
func warming(t *testing.T, n int, tau float64) *Series {
	t.Helper()
	var s Series
	for i := range n {
		require.NoError(t, s.Add(float64(i), values(1.2, 30+50*(1-math.Exp(-float64(i)/tau)), 150, 4800)))
	}
	return &s
}

func TestALoadOnItsOwn(t *testing.T) {
	r := warming(t, 900, 120).Reduce(Want{Clock: 4800})
	require.InDelta(t, 1.2, float64(r.LoadVoltage), 1e-9)
	require.InDelta(t, 80, float64(r.CoreTemp), 0.1)
	require.InDelta(t, 150, float64(r.PackagePower), 1e-9)
	require.InDelta(t, 4800, float64(r.Clock), 1e-9)
	require.Equal(t, Held, r.ClockState)
	require.Equal(t, Reached, r.WarmUp)
	require.Equal(t, 900, r.LoadSeconds)
	require.Zero(t, r.Gaps)
	require.Empty(t, r.Warnings)
}

func TestIdleTimeAroundTheLoadDoesNotCount(t *testing.T) {
	var s Series
	for i := range 900 {
		x := values(0.8, 32, 12, 800)
		switch {
		case i >= 300 && i < 600:
			x = values(1.25, 70, 180, 5000)
		case i == 50 || i == 51:
			x = values(1.30, 45, 60, 5200) // a short spike of something else
		}
		require.NoError(t, s.Add(1000+float64(i), x))
	}
	r := s.Reduce(Want{})
	require.InDelta(t, 1.25, float64(r.LoadVoltage), 1e-9)
	require.InDelta(t, 70, float64(r.CoreTemp), 1e-9)
	require.InDelta(t, 180, float64(r.PackagePower), 1e-9)
	require.InDelta(t, 5000, float64(r.Clock), 1e-9)
	require.InDelta(t, 300, r.LoadSeconds, 4, "the running median may move an edge by two samples")
}

func TestTheLongestOfTwoLoadsCounts(t *testing.T) {
	var s Series
	for i := range 600 {
		x := values(0.8, 32, 12, 800)
		if i < 60 {
			x = values(1.30, 90, 120, 5100)
		}
		if i >= 200 && i != 300 { // one second of rest is bridged
			x = values(1.25, 70, 180, 5000)
		}
		require.NoError(t, s.Add(float64(i), x))
	}
	r := s.Reduce(Want{})
	require.InDelta(t, 1.25, float64(r.LoadVoltage), 1e-9)
	require.InDelta(t, 70, float64(r.CoreTemp), 1e-9, "the shorter load was hotter")
}

func TestGapsAndMissingSensorsAreTold(t *testing.T) {
	var s Series
	for i := range 300 {
		if i >= 100 && i < 120 {
			continue
		}
		x := values(1.2, 70, 150, 4800)
		if i%50 == 0 {
			x[Temp], x[Voltage] = 255, 0 // what some sensors say when they were not read
		}
		require.NoError(t, s.Add(float64(i), x))
	}
	r := s.Reduce(Want{})
	require.Equal(t, 1, r.Gaps)
	require.InDelta(t, 70, float64(r.CoreTemp), 1e-9, "255 is no temperature")
	require.Len(t, r.Warnings, 3)
	empty := (&Series{}).Reduce(Want{})
	require.Zero(t, empty.Readings())
	require.NotEmpty(t, empty.Warnings)
}

func TestASlowedClockIsSeen(t *testing.T) {
	load := func(clock, throttle func(i int) float64) *Series {
		var s Series
		for i := range 300 {
			x := values(1.2, 70, 124, clock(i))
			x[Throttle] = throttle(i)
			require.NoError(t, s.Add(float64(i), x))
		}
		return &s
	}
	flat := func(x float64) func(int) float64 { return func(int) float64 { return x } }
	capped := func(i int) float64 {
		if i < 28 {
			return 4800
		}
		return 4200
	}
	none := flat(math.NaN())
	require.Equal(t, Held, load(flat(4780), none).Reduce(Want{Clock: 4800}).ClockState)
	require.Equal(t, Slowed, load(flat(4500), none).Reduce(Want{Clock: 4800}).ClockState)
	require.Equal(t, Held, load(flat(4500), none).Reduce(Want{}).ClockState, "the wanted clock is not known")
	require.Equal(t, Slowed, load(capped, none).Reduce(Want{}).ClockState)
	require.Equal(t, Held, load(flat(4800), flat(7)).Reduce(Want{}).ClockState, "a count from before the load")
	require.Equal(t, Slowed, load(flat(4800), func(i int) float64 { return 7 + float64(i/200) }).Reduce(Want{}).ClockState)
	require.Equal(t, Slowed, load(flat(4800), flat(1)).Reduce(Want{}).ClockState, "a flag that is up from the start")
	require.True(t, load(capped, none).Reduce(Want{Clock: 4800, Limit: 125}).AtCap)
	require.False(t, load(capped, none).Reduce(Want{Clock: 4800, Limit: 200}).AtCap)
	require.False(t, load(flat(4800), none).Reduce(Want{Clock: 4800, Limit: 125}).AtCap, "power at the limit that costs no clock")
}

// The share of a first-order rise after t is 1 - exp(-t/tau): with a rise of
// 50 °C, 1 °C is left after 3.9 time constants.
func TestTheWarmUpIsJudged(t *testing.T) {
	require.Equal(t, NotReached, warming(t, 300, 300).Reduce(Want{}).WarmUp)
	require.Equal(t, NotReached, warming(t, 600, 200).Reduce(Want{}).WarmUp)
	require.Equal(t, Reached, warming(t, 900, 180).Reduce(Want{}).WarmUp)
	require.Equal(t, Unknown, warming(t, 100, 20).Reduce(Want{}).WarmUp, "too short")
	var flat Series
	for i := range 600 {
		require.NoError(t, flat.Add(float64(i), values(1.2, 70+float64(i%2), 150, 4800)))
	}
	require.Equal(t, Reached, flat.Reduce(Want{}).WarmUp, "warm from the start")
}

func TestFastReadingsBecomeOneSample(t *testing.T) {
	var slow, fast Series
	for i := range 200 {
		require.NoError(t, slow.Add(float64(i), values(1.2, 70, 150, 4800)))
		for j := range 10 {
			d := float64(j) - 4.5
			require.NoError(t, fast.Add(float64(i)+float64(j)/10, values(1.2+d/1000, 70+d/9-0.5, 150+d, 4800+d)))
		}
	}
	require.Len(t, fast.Samples(), 201)
	a, b := slow.Reduce(Want{}), fast.Reduce(Want{})
	require.InDelta(t, float64(a.LoadVoltage), float64(b.LoadVoltage), 1e-4)
	require.InDelta(t, float64(a.PackagePower), float64(b.PackagePower), 0.1)
	require.InDelta(t, float64(a.CoreTemp), float64(b.CoreTemp), 1e-6, "the highest of each second")
}

func TestASeriesIsBounded(t *testing.T) {
	var s Series
	require.NoError(t, s.Add(0, None()))
	require.NoError(t, s.Add(-5, None()), "a clock that jumps back")
	require.True(t, fault.Is(s.Add(longest+1, None()), fault.Limit))
}

func TestGuess(t *testing.T) {
	for _, x := range []struct {
		name, unit string
		want       Quantity
		sure       bool
	}{
		{"Vcore", "V", Voltage, true},
		{"CPU Core Voltage", "V", Voltage, true},
		{"Core 0 VID", "V", 0, false},
		{"CPU SoC voltage", "V", 0, false},
		{"Kernspannung CPU", "V", Voltage, true},
		{"CPU Package", "°C", Temp, true},
		{"Core Max", "°C", Temp, true},
		{"Tctl/Tdie", "°C", Temp, true},
		{"GPU Temperature", "°C", 0, false},
		{"Core Distance to limit", "°C", 0, false},
		{"CPU Package Power", "W", Power, true},
		{"GPU Power", "W", 0, false},
		{"Package Power Limit", "W", 0, false},
		{"Core 3 Clock", "MHz", Clock, true},
		{"cpuFrequency", "MHz", Clock, true},
		{"Memory Clock", "MHz", 0, false},
		{"Total CPU Usage", "%", Busy, true},
		{"Fan Level", "%", 0, false},
		{"Core Thermal Throttling", "yes/no", Throttle, true},
		{"Notes", "", 0, false},
	} {
		q, score := Guess(x.name, x.unit)
		require.Equal(t, x.sure, score > 1, x.name)
		if x.sure {
			require.Equal(t, x.want, q, x.name)
		}
	}
}

func TestCombine(t *testing.T) {
	nan := math.NaN()
	require.InDelta(t, 80, Combine(Temp, []float64{70, nan, 80}), 0)
	require.InDelta(t, 4700, Combine(Clock, []float64{4800, 4700, 800}), 0)
	require.InDelta(t, 1.25, Combine(Voltage, []float64{1.2, 1.3}), 1e-12)
	require.True(t, math.IsNaN(Combine(Power, []float64{nan})))
	q, ok := Named("core_temp_c")
	require.True(t, ok)
	require.Equal(t, Temp, q)
	_, ok = Named("colour")
	require.False(t, ok)
}
