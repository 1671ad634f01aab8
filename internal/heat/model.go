package heat

import (
	"math"
	"slices"

	"belay/internal/fault"
	"belay/internal/trial"
	"belay/internal/units"
)

// Model is a fitted machine. It is immutable; make it with Fit.
type Model struct {
	mode    constants
	noise   Noise
	inflate float64
	draws   []draw
	seen    seen
}

// seen is the range that the observations cover.
type seen struct {
	count             int
	power, temp       bool // at least one reading of each
	maxVolt, maxClock float64
	loads             map[trial.Load]bool
}

func (p *problem) model(theta vector) Model {
	m := Model{mode: theta.constants(), noise: p.prior.Noise, inflate: p.inflate}
	m.seen.loads = map[trial.Load]bool{}
	for _, o := range p.obs {
		m.seen.count++
		m.seen.power = m.seen.power || o.Power > 0
		m.seen.temp = m.seen.temp || o.CoreTemp > 0
		m.seen.maxVolt = math.Max(m.seen.maxVolt, float64(o.Voltage))
		m.seen.maxClock = math.Max(m.seen.maxClock, float64(o.Clock))
		m.seen.loads[o.Load] = m.seen.loads[o.Load] || o.driven()
	}
	m.draws = p.sample(theta)
	return m
}

// Point is a setting to predict for.
type Point struct {
	Load      trial.Load
	Voltage   units.Volt      // under load
	VoltageSD units.Volt      // how far the load voltage may be off; 0 = exact
	Clock     units.Megahertz // core clock under this load
	AirTemp   units.Celsius   // 0 = take the room as learnt
	Minutes   units.Minutes   // 0 = until settled
}

// Prediction is what the sensors will read in one run at a point.
type Prediction struct {
	Temp         Interval // °C, never above 150
	Power        Interval // W
	LoopGain     Interval
	RunawayShare float64 // share of the machines allowed by the evidence that do not settle below 150 °C, 0 to 1
	Warnings     []string
}

// Predict returns what one run at this point will read, with two-sided
// intervals of the given level, which lies between 0.5 and 0.999. It returns
// an Invalid fault for a point that no machine runs at.
func (m Model) Predict(at Point, level float64) (Prediction, error) {
	if err := checkPoint(at, level); err != nil {
		return Prediction{}, err
	}
	d := at.drive()
	push := math.Sqrt(m.inflate) * m.noise.Scatter
	push = math.Hypot(push, 2*float64(at.VoltageSD)/d.volt)
	temp, power, gain := make([]float64, len(m.draws)), make([]float64, len(m.draws)), make([]float64, len(m.draws))
	runaway := 0
	for i := range m.draws {
		w := &m.draws[i]
		s := w.settle(d, math.Exp(push*w.push))
		if s.runaway {
			runaway++
		}
		temp[i] = math.Min(topTemp, s.temp+math.Sqrt(m.inflate)*m.noise.Temp*w.tempError)
		power[i] = s.power * math.Exp(math.Sqrt(m.inflate)*m.noise.Power*w.powerError)
		gain[i] = s.gain
	}
	p := Prediction{
		Temp: interval(temp, level), Power: interval(power, level), LoopGain: interval(gain, level),
		RunawayShare: float64(runaway) / float64(len(m.draws)),
	}
	p.Warnings = m.warnings(at, p)
	return p, nil
}

func (at Point) drive() drive {
	return drive{
		volt: float64(at.Voltage), clock: float64(at.Clock), air: float64(at.AirTemp),
		minutes: float64(at.Minutes), factor: factorOf(at.Load),
	}
}

func checkPoint(at Point, level float64) error {
	const next = "Check the value and try again."
	switch {
	case !(at.Voltage >= 0.3 && at.Voltage <= 2):
		return fault.New(fault.Invalid, "The load voltage must lie between 0.3 and 2 V.", next)
	case !(at.Clock >= 100 && at.Clock <= 12000):
		return fault.New(fault.Invalid, "The clock must lie between 100 and 12000 MHz.", next)
	case !(at.AirTemp >= -40 && at.AirTemp <= 80):
		return fault.New(fault.Invalid, "The air temperature must lie between -40 and 80 °C.", next)
	case !(at.VoltageSD >= 0 && at.VoltageSD <= 0.5), !(at.Minutes >= 0):
		return fault.New(fault.Invalid, "The voltage spread and the minutes must not be negative.", next)
	}
	return checkLevel(level)
}

func checkLevel(level float64) error {
	if !(level >= 0.5 && level <= 0.999) {
		return fault.New(fault.Invalid, "The level must lie between 0.5 and 0.999.", "Use 0.9 for most purposes.")
	}
	return nil
}

// interval sorts v in place and takes its median and outer quantiles.
func interval(v []float64, level float64) Interval {
	slices.Sort(v)
	at := func(q float64) float64 {
		x := q * float64(len(v)-1)
		i := int(x)
		if i+1 >= len(v) {
			return v[len(v)-1]
		}
		return v[i] + (x-float64(i))*(v[i+1]-v[i])
	}
	return Interval{at((1 - level) / 2), at(0.5), at((1 + level) / 2)}
}

// How far past the readings a prediction may go without a word, and when a
// runaway is worth one. Chosen: four voltage steps, two ratios, one machine in fifty.
const (
	farVolt     = 0.100 // V
	farClock    = 200.0 // MHz
	fewRunaways = 0.02
)

func (m Model) warnings(at Point, p Prediction) []string {
	w := m.evidenceWarnings()
	if m.seen.count > 0 && !m.seen.loads[at.Load] {
		w = append(w, "This kind of load has no readings yet. Its power is estimated from the other loads.")
	}
	if m.seen.maxVolt > 0 && (float64(at.Voltage) > m.seen.maxVolt+farVolt || float64(at.Clock) > m.seen.maxClock+farClock) {
		w = append(w, "This setting lies far above everything measured so far. Go there in smaller steps.")
	}
	if p.RunawayShare > fewRunaways {
		w = append(w, "It is possible that no temperature settles here. Watch the temperature and stop if it keeps rising.")
	}
	return w
}

func (m Model) evidenceWarnings() []string {
	var w []string
	switch {
	case m.seen.count == 0:
		w = append(w, "There are no readings yet. This range covers many machines and is wide.")
	case !m.seen.temp:
		w = append(w, "No core temperature has been read yet. The temperature range covers many coolers.")
	case !m.seen.power:
		w = append(w, "No package power has been read yet. The power range covers many machines.")
	}
	if m.inflate > 2 {
		w = append(w, "The readings scatter more than their sensors explain. The ranges are widened for it.")
	}
	return w
}
