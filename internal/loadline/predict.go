package loadline

import (
	"math"

	"belay/internal/fault"
	"belay/internal/units"
)

// SetFor returns the voltage to set so that the meter shows want while the
// package draws power: S = want + R·power/want - offset, in V. The interval
// holds the set voltage that truly gives it. The power is that at the wanted
// voltage, so the loop between droop and current closes in one step.
func (l Line) SetFor(want units.Volt, power units.Watt, level float64) (Interval, error) {
	z, err := checkPoint("wanted", want, power, level)
	if err != nil {
		return Interval{}, err
	}
	i := float64(power) / float64(want)
	variance := i*i*l.varR + l.varOff - 2*i*l.cov + l.powerVar(i)
	return around(float64(want)+l.r*i-l.offset, variance, z), nil
}

// LoadAt returns what the meter will show under load at a set voltage, in V:
// the stable solution of V = set - R·power/V + offset,
// V = (S + sqrt(S² - 4·R·power))/2 with S = set + offset. It returns an Unsafe
// fault if no voltage carries that power.
func (l Line) LoadAt(set units.Volt, power units.Watt, level float64) (Interval, error) {
	z, err := checkPoint("set", set, power, level)
	if err != nil {
		return Interval{}, err
	}
	v, ok := l.solve(set, power)
	if !ok {
		return Interval{}, fault.New(fault.Unsafe, "At this set voltage the load line cannot deliver that power.",
			"Raise the set voltage or choose a flatter load line.")
	}
	i := float64(power) / v
	slope := 1 - l.r*i/v // dS/dV at the solution, above zero on the stable branch
	variance := (i*i*l.varR+l.varOff-2*i*l.cov+l.powerVar(i))/(slope*slope) + l.inflate*l.prior.Noise.meterVar()
	return around(v, variance, z), nil
}

func (l Line) powerVar(i float64) float64 {
	v := l.r * i * l.prior.Noise.Power
	return l.inflate * v * v
}

func (l Line) solve(set units.Volt, power units.Watt) (float64, bool) {
	s := float64(set) + l.offset
	under := s*s - 4*l.r*float64(power)
	if under <= 0 || s <= 0 {
		return 0, false
	}
	return (s + math.Sqrt(under)) / 2, true
}

func checkPoint(which string, v units.Volt, power units.Watt, level float64) (float64, error) {
	if !(v >= 0.3 && v <= 2) {
		return 0, fault.Newf(fault.Invalid, "Check the value and try again.", "The %s voltage must lie between 0.3 and 2 V.", which)
	}
	if !(power >= 0 && power <= 1500) {
		return 0, fault.New(fault.Invalid, "The power must lie between 0 and 1500 W.", "Check the value and try again.")
	}
	return quantile(level)
}

// Finding names what is wrong with a load line.
type Finding string

// The findings, from none to the most pressing.
const (
	Sound     Finding = "sound"
	TooFlat   Finding = "too-flat"
	Droop     Finding = "droop"
	Overshoot Finding = "overshoot"
)

// Move says which way to move the load line.
type Move string

// The moves. Flatter means less droop, steeper means more.
const (
	Stay    Move = "stay"
	Flatter Move = "flatter"
	Steeper Move = "steeper"
)

// Limits is what a load line is judged by, all in volts.
type Limits struct {
	Ceiling  units.Volt // highest load voltage allowed under heavy load; 0 = not judged
	Above    units.Volt // how far the set voltage may lie above the ceiling
	MaxDroop units.Volt // above this, light loads see too much
	MinDroop units.Volt // below this, the end of a load overshoots
}

// DefaultLimits judges droop alone until a ceiling is given. Above: common
// practice, no source. MaxDroop and MinDroop chosen: half a milliohm at 200 A,
// and twice the meter's error.
func DefaultLimits(ceiling units.Volt) Limits {
	return Limits{Ceiling: ceiling, Above: 0.060, MaxDroop: 0.100, MinDroop: 0.010}
}

// Verdict is the judgement of a load line.
type Verdict struct {
	Finding  Finding
	Move     Move
	Droop    Interval // V, set minus load voltage at the judged point
	Sentence string   // for a person
	Warnings []string
}

// Judge says whether the line is wise at the heaviest load: want volts under
// load at this power. It judges by the middle estimate and warns while the
// readings leave the finding open.
func (l Line) Judge(want units.Volt, power units.Watt, lim Limits) (Verdict, error) {
	set, err := l.SetFor(want, power, 0.9)
	if err != nil {
		return Verdict{}, err
	}
	w := float64(want)
	v := Verdict{Droop: Interval{set.Low - w, set.Mid - w, set.High - w}, Warnings: append([]string(nil), l.warnings...)}
	top := float64(lim.Ceiling + lim.Above)
	at := func(d float64) Finding { return lim.find(d, w+d > top && lim.Ceiling > 0) }
	v.Finding = at(v.Droop.Mid)
	if at(v.Droop.Low) != v.Finding || at(v.Droop.High) != v.Finding {
		v.Warnings = append(v.Warnings, "The readings leave this open. One more reading at another power would settle it.")
	}
	droop := units.Format("mV", 1000*v.Droop.Mid)
	switch v.Finding {
	case Overshoot:
		v.Move = Steeper
		v.Sentence = "The voltage rises by " + units.Format("mV", -1000*v.Droop.Mid) + " under load. " +
			"Choose a steeper load line, then measure again."
	case TooFlat:
		v.Move = Steeper
		v.Sentence = "The voltage falls by only " + droop + ". When the load ends it may jump above the set value. " +
			"Choose a load line one level steeper."
	case Droop:
		v.Move = Flatter
		v.Sentence = "The voltage falls by " + droop + " under load, so light loads see too much. " +
			"Choose a load line one level flatter, then measure again."
	default:
		v.Move = Stay
		v.Sentence = "The voltage falls by " + droop + " under load. Leave the load line as it is."
	}
	return v, nil
}

func (lim Limits) find(droop float64, pastTop bool) Finding {
	switch {
	case droop < 0:
		return Overshoot
	case droop > float64(lim.MaxDroop) || pastTop:
		return Droop
	case droop < float64(lim.MinDroop):
		return TooFlat
	}
	return Sound
}
