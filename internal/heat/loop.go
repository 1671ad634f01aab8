// Package heat predicts the temperature and the power of a processor from
// voltage, clock and air temperature, and learns the machine's constants from
// its own trials.
//
// Power is the dynamic part k·V²·f plus leakage, which grows with voltage and
// temperature; temperature is air plus thermal resistance times power. The two
// feed each other, so every prediction is a fixed point, and one may not
// exist: that is runaway. Equations, assumptions and sources:
// docs/models/heat.md.
package heat

import (
	"math"

	"belay/internal/fault"
	"belay/internal/units"
)

// Interval is a low, middle and high value; Low <= Mid <= High. Mid is the
// median. The unit is that of the field that holds it.
type Interval struct {
	Low  float64 `json:"low"`
	Mid  float64 `json:"mid"`
	High float64 `json:"high"`
}

// Loop is the heat loop at one setting: P = Dynamic + Leak·exp((T-Ref)/Scale),
// T = Air + Resistance·P. Leak is the leakage at temperature Ref.
type Loop struct {
	Air        units.Celsius
	Resistance float64 // K/W, core to air
	Dynamic    units.Watt
	Leak       units.Watt
	Ref        units.Celsius
	Scale      float64 // °C per e-fold of leakage
}

// State is where a heat loop settles.
type State struct {
	Temp         units.Celsius // the stable temperature; 0 with Runaway
	Power        units.Watt    // power at Temp; 0 with Runaway
	Unstable     units.Celsius // above this temperature the loop runs away; +Inf without leakage
	Gain         float64       // watts of heat fed back per watt, 0 to 1; 1 or more means runaway
	CriticalR    float64       // K/W at which no settled temperature is left; +Inf without leakage
	CriticalTemp units.Celsius // the temperature at that point; +Inf without leakage
	Runaway      bool          // no temperature settles
	Sentence     string        // the same for a person
}

// Solve finds the settled temperature in closed form.
//
// With x = (R·Leak/Scale)·exp((Air + R·Dynamic - Ref)/Scale) the stable
// solution is T = Air + R·Dynamic - Scale·W0(-x), the unstable one uses the
// other branch of the Lambert W function, and none exists for x > 1/e.
// It returns an Invalid fault for values that no machine has.
// Source: stability condition dP/dT < 1/R, Stout 2007 (Power Electronics
// Technology, November); Lambert W after Corless et al. 1996.
func (l Loop) Solve() (State, error) {
	if err := l.check(); err != nil {
		return State{}, err
	}
	cool := float64(l.Air) + l.Resistance*float64(l.Dynamic)
	if l.Leak == 0 {
		inf := math.Inf(1)
		s := State{
			Temp: units.Celsius(cool), Power: l.Dynamic, Unstable: units.Celsius(inf),
			CriticalR: inf, CriticalTemp: units.Celsius(inf),
		}
		s.Sentence = s.say()
		return s, nil
	}
	critical := l.criticalResistance()
	s := State{
		CriticalR:    critical,
		CriticalTemp: units.Celsius(float64(l.Air) + critical*float64(l.Dynamic) + l.Scale),
	}
	logX := math.Log(l.Resistance*float64(l.Leak)/l.Scale) + (cool-float64(l.Ref))/l.Scale
	if logX > -1 {
		s.Runaway = true
		s.Gain = 1
		s.Sentence = s.say()
		return s, nil
	}
	x := math.Exp(logX)
	s.Gain = -lambertW0(-x)
	s.Temp = units.Celsius(cool + l.Scale*s.Gain)
	s.Unstable = units.Celsius(cool - l.Scale*lambertWm1(-x))
	s.Power = units.Watt((float64(s.Temp) - float64(l.Air)) / l.Resistance)
	s.Sentence = s.say()
	return s, nil
}

func (l Loop) check() error {
	bad := func(field, why string) error {
		f := fault.New(fault.Invalid, why, "Check the value of "+field+".")
		f.Fields = []fault.Field{{Field: field, Message: why}}
		return f
	}
	within := func(v, low, high float64) bool { return v >= low && v <= high }
	switch {
	case !within(float64(l.Air), -40, 100):
		return bad("air", "The air temperature must lie between -40 and 100 °C.")
	case !within(l.Resistance, 1e-4, 100):
		return bad("rth", "The thermal resistance must lie between 0.0001 and 100 K/W.")
	case !within(float64(l.Dynamic), 0, 5000):
		return bad("dynamic_w", "The dynamic power must lie between 0 and 5000 W.")
	case !within(float64(l.Leak), 0, 5000):
		return bad("leak_w", "The leakage power must lie between 0 and 5000 W.")
	case !within(float64(l.Ref), -40, 200):
		return bad("leak_ref_c", "The leakage reference must lie between -40 and 200 °C.")
	case !within(l.Scale, 1, 1000):
		return bad("leak_scale_c", "The leakage scale must lie between 1 and 1000 °C.")
	}
	return nil
}

// criticalResistance solves R·exp(a·R) = c, where the loop gain is exactly 1:
// a = Dynamic/Scale, c = (Scale/Leak)·exp(-(Air-Ref)/Scale - 1).
func (l Loop) criticalResistance() float64 {
	logC := math.Log(l.Scale/float64(l.Leak)) - (float64(l.Air)-float64(l.Ref))/l.Scale - 1
	if l.Dynamic == 0 {
		return math.Exp(logC)
	}
	a := float64(l.Dynamic) / l.Scale
	return lambertOfExp(math.Log(a)+logC) / a
}

// nearRunaway is the loop gain from which a person is warned. Chosen: at 0.5
// every watt added becomes two.
const nearRunaway = 0.5

func (s State) say() string {
	switch {
	case s.Runaway:
		return "No temperature settles here: leakage grows faster than the cooler can carry heat away. " +
			"Lower the voltage or improve the cooling."
	case s.Gain >= nearRunaway:
		return "This settles at " + units.Format("°C", float64(s.Temp)) + ", but close to the point where heat feeds itself. " +
			"A warmer room could tip it over."
	}
	return "This settles at " + units.Format("°C", float64(s.Temp)) + " and " + units.Format("W", float64(s.Power)) + "."
}
