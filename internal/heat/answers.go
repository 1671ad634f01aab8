package heat

import (
	"fmt"
	"math"

	"belay/internal/fault"
	"belay/internal/units"
)

// Summary is what a fit says about the machine itself.
type Summary struct {
	Resistance  Interval // K/W, hottest core to air
	Dynamic     Interval // W per V² per GHz under scalar load
	Leak        Interval // W at 1.20 V and 60 °C
	WarmUp      Interval // minutes
	Room        Interval // °C, air where it was not read
	Evidence    int      // runs used
	NoiseFactor float64  // 1 = the readings scatter as stated; 2 = twice as far
	Warnings    []string
}

// Summary returns the constants with intervals of the given level.
func (m Model) Summary(level float64) (Summary, error) {
	if err := checkLevel(level); err != nil {
		return Summary{}, err
	}
	pick := func(f func(*constants) float64) Interval {
		v := make([]float64, len(m.draws))
		for i := range m.draws {
			v[i] = f(&m.draws[i].constants)
		}
		return interval(v, level)
	}
	return Summary{
		Resistance:  pick(func(c *constants) float64 { return c.resistance }),
		Dynamic:     pick(func(c *constants) float64 { return c.dynamic * 1000 }),
		Leak:        pick(func(c *constants) float64 { return c.leak * refVolt }),
		WarmUp:      pick(func(c *constants) float64 { return c.warmUp }),
		Room:        pick(func(c *constants) float64 { return c.room }),
		Evidence:    m.seen.count,
		NoiseFactor: math.Sqrt(m.inflate),
		Warnings:    m.evidenceWarnings(),
	}, nil
}

// Hold is the power that the cooler can carry away for hours.
type Hold struct {
	Power    Interval   // W that bring the hottest core to the limit
	Cap      units.Watt // sustained limit to set: the low end, in whole steps of 5 W
	Warnings []string
}

// capStep is the grid of a proposed limit, in W. Chosen: finer than the
// interval, and easy to type.
const capStep = 5.0

// Hold returns the largest sustained power at which the hottest core stays at
// or below limit in this air: P = (limit - air)/R. air 0 takes the room as
// learnt. It returns an Invalid fault if the limit is not above the air, and
// an Unsafe fault if not even 5 W are sure to be held.
func (m Model) Hold(limit, air units.Celsius, level float64) (Hold, error) {
	if err := checkLevel(level); err != nil {
		return Hold{}, err
	}
	if !(limit > air && limit <= topTemp) {
		return Hold{}, fault.New(fault.Invalid, "The temperature limit must lie above the air temperature and below 150 °C.",
			"Check both temperatures.")
	}
	v := make([]float64, len(m.draws))
	for i := range m.draws {
		c := &m.draws[i].constants
		v[i] = math.Max(0, (float64(limit)-c.airOf(drive{air: float64(air)}))/c.resistance)
	}
	h := Hold{Power: interval(v, level), Warnings: m.evidenceWarnings()}
	h.Cap = units.Watt(capStep * math.Floor(h.Power.Low/capStep))
	if h.Cap <= 0 {
		return h, fault.New(fault.Unsafe, "The readings do not show that this cooler can hold any load at that limit.",
			"Check the cooler's mounting and take new readings.")
	}
	return h, nil
}

// LoopAt returns the heat loop at a point with the likeliest constants, for
// Solve to explain.
func (m Model) LoopAt(at Point) (Loop, error) {
	if err := checkPoint(at, 0.9); err != nil {
		return Loop{}, err
	}
	c, d := &m.mode, at.drive()
	s := c.settle(d, 1)
	return Loop{
		Air: units.Celsius(s.air), Resistance: s.reach, Dynamic: units.Watt(s.dynamic),
		Leak: units.Watt(c.leakAt(d, refTemp)),
		Ref:  refTemp, Scale: 1 / c.perDegree,
	}, nil
}

// DynamicRatio returns by how much dynamic power grows from one setting to
// another: (V1/V0)²·(f1/f0). All four must be positive, else it is NaN.
// Source: P = C·V²·f, Chandrakasan, Sheng & Brodersen, IEEE JSSC 27 (1992) 473.
func DynamicRatio(fromV, toV units.Volt, fromClock, toClock units.Megahertz) float64 {
	if !(fromV > 0 && toV > 0 && fromClock > 0 && toClock > 0) {
		return math.NaN()
	}
	v := float64(toV) / float64(fromV)
	return v * v * float64(toClock) / float64(fromClock)
}

// Verdict says whether heat held a trial back.
type Verdict struct {
	Hot      bool
	Sentence string // why, for a person; empty when not hot
}

// How near is too near. limitMargin: common practice, no source. clockSlack:
// chosen, twice the half percent by which spread-spectrum clocking lowers a clock.
const (
	limitMargin = 2.0  // °C
	clockSlack  = 0.01 // share of the set clock
)

// JudgeHeat reports whether a trial was hot rather than unstable: its clock
// fell below the set clock, or its hottest core came within 2 °C of the limit.
// set is the clock that this load should run at, any wide-vector offset taken
// off. Zero for a reading means "not read" and is passed over.
func JudgeHeat(set, measured units.Megahertz, temp, limit units.Celsius) Verdict {
	if set > 0 && measured > 0 && float64(measured) < float64(set)*(1-clockSlack) {
		return Verdict{true, fmt.Sprintf("The processor ran at %v instead of %v: it slowed itself down.", measured, set)}
	}
	if temp > 0 && limit > 0 && temp > limit-limitMargin {
		return Verdict{true, fmt.Sprintf("The hottest core read %v, within 2 °C of its limit of %v.", temp, limit)}
	}
	return Verdict{}
}
