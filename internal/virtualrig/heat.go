package virtualrig

import "math"

const (
	leakVolts = 1.25 // V at which the leakage is stated; chosen
	leakTemp  = 70   // °C at which the leakage is stated; chosen
	tempMost  = 160  // °C; chosen: stands for thermal runaway, far above any limit
	slowest   = 8    // ratio below which the rig does not slow itself; common practice, no source
)

// heat is the truth about power.
type heat struct {
	dynamic  float64        // W per V² GHz under scalar load
	leak     float64        // W per V
	perVolt  float64        // e-folds of leakage per V
	perDeg   float64        // e-folds of leakage per °C
	activity [loads]float64 // dynamic power relative to the scalar load
}

// dynamicW is the switching power C V² f, in W.
func (h *heat) dynamicW(load int, volts, ratio float64) float64 {
	return h.dynamic * h.activity[load] * volts * volts * ratio * baseClock / 1000
}

func (h *heat) watts(load int, volts, ratio, temp float64) float64 {
	return h.dynamicW(load, volts, ratio) +
		volts*h.leak*math.Exp(h.perVolt*(volts-leakVolts)+h.perDeg*(temp-leakTemp))
}

// cooling is the truth about the cooler and the room.
type cooling struct {
	kind  string
	rth   float64 // °C per W, air to hottest core
	air   float64 // °C
	limit float64 // °C
	tau   float64 // min, warm-up
}

// tempAt returns the temperature after t minutes on the way to settled.
func (c *cooling) tempAt(settled, t float64) float64 {
	return settled - (settled-c.idle())*math.Exp(-t/c.tau)
}

// idle is the temperature of the hottest core before a trial.
func (c *cooling) idle() float64 { return c.air + 12 } // chosen: a usual rise at idle

// minutesTo returns when the way to settled crosses temp; +Inf if never.
func (c *cooling) minutesTo(temp, settled float64) float64 {
	if settled <= temp {
		return math.Inf(1)
	}
	return c.tau * math.Log((settled-c.idle())/(settled-temp))
}

// state is what the rig settles to under a load.
type state struct {
	ratio float64 // true mean ratio, not whole when a limit slows the rig
	volts float64 // V under load
	watts float64 // W
	temp  float64 // °C
}

// balance finds voltage, power and temperature at a ratio that hold each other
// up: load line, leakage and cooling at once. The loop gain is below one half
// at sane settings, so 20 rounds leave less than 1e-6; tempMost bounds the rest.
func (t *truth) balance(load int, u setup, ratio float64, c cooling) state {
	set := u.voltage(&t.supply, ratio)
	s := state{ratio: ratio, volts: set, temp: c.air + 40}
	for range 20 {
		s.watts = t.heat.watts(load, s.volts, ratio, s.temp)
		next := max(set-u.ohm*s.watts/s.volts, 0.2)
		moved := math.Abs(next-s.volts) + 0.001*math.Abs(min(c.air+c.rth*s.watts, tempMost)-s.temp)
		s.volts = next
		s.temp = min(c.air+c.rth*s.watts, tempMost)
		if moved < 1e-7 {
			break
		}
	}
	return s
}

// course is how a load goes on this rig: full is before its temperature limit
// acts, settled after it.
type course struct{ full, settled state }

// slowed is the share of the clock that the temperature limit takes.
func (c course) slowed() float64 { return 1 - c.settled.ratio/c.full.ratio }

// settle runs a load until nothing moves. The power limit slows the clock
// first; if the rig is then still above its temperature limit, that slows it
// further.
func (t *truth) settle(load int, u setup) course {
	ratio := u.ratio
	if load == wide {
		ratio = max(ratio-u.wideOffset, slowest)
	}
	full := t.balance(load, u, ratio, t.cooling)
	if full.watts > u.limit {
		full = t.slow(load, u, ratio, func(s state) bool { return s.watts > u.limit })
	}
	if full.temp <= t.cooling.limit {
		return course{full, full}
	}
	return course{full, t.slow(load, u, full.ratio, func(s state) bool { return s.temp > t.cooling.limit })}
}

// slow returns the state at the highest ratio up to from that is not too much.
func (t *truth) slow(load int, u setup, from float64, tooMuch func(state) bool) state {
	lo, hi := min(float64(slowest), from), from
	for range 16 {
		mid := (lo + hi) / 2
		if tooMuch(t.balance(load, u, mid, t.cooling)) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return t.balance(load, u, lo, t.cooling)
}
