package heat

import (
	"math"

	"belay/internal/trial"
)

// Places in the vector of unknowns. The leak share stands as log odds, the room
// as it is, all others as logarithms.
const (
	iPower = iota
	iShare
	iResistance
	iPerVolt
	iPerDegree
	iWarmUp
	iRoom
	iFactor               // first of the load factors, in the order of factorLoads
	dim     = iFactor + 5 // one factor per load class but scalar
)

// factorLoads lists the load classes that carry a power factor.
var factorLoads = [dim - iFactor]trial.Load{
	trial.WideVector, trial.Cache, trial.Memory, trial.Mixed, trial.Bursty,
}

type vector [dim]float64

// topTemp is where predictions stop, in °C. Chosen: protection switches a
// machine off long before, so a higher number would mean nothing.
const topTemp = 150.0

// constants are one machine's numbers, the logarithms undone.
type constants struct {
	dynamic    float64 // k, W/(V²·MHz)
	leak       float64 // L, W/V at the reference
	share      float64 // leakage over power at the reference
	resistance float64 // K/W
	perVolt    float64 // kv, 1/V
	perDegree  float64 // kl, 1/°C
	warmUp     float64 // minutes
	room       float64 // °C
	factor     [dim - iFactor]float64
}

func (v *vector) constants() constants {
	power, share := math.Exp(v[iPower]), 1/(1+math.Exp(-v[iShare]))
	c := constants{
		dynamic: power * (1 - share) / (refVolt * refVolt * refClock), leak: power * share / refVolt, share: share,
		resistance: math.Exp(v[iResistance]),
		perVolt:    math.Exp(v[iPerVolt]), perDegree: math.Exp(v[iPerDegree]), warmUp: math.Exp(v[iWarmUp]),
		room: v[iRoom],
	}
	for i := range c.factor {
		c.factor[i] = math.Exp(v[iFactor+i])
	}
	return c
}

// closeEnough is the last step of the iteration in °C. It converges
// quadratically, so the error left is below 1e-6 °C up to a loop gain of 0.99.
const closeEnough = 1e-3

// drive is what a machine is made to do, in V, MHz, °C and minutes.
type drive struct {
	volt, clock float64
	air         float64 // 0 = take the room
	minutes     float64 // 0 = long enough
	factor      int     // index into factorLoads, -1 for scalar
}

func factorOf(load trial.Load) int {
	for i, l := range factorLoads {
		if l == load {
			return i
		}
	}
	return -1
}

// settled is the fixed point and the slopes that fitting needs.
type settled struct {
	temp, power, dynamic, leak float64
	air                        float64 // °C
	reach                      float64 // K/W, resistance times the part of the warm-up done
	gain                       float64
	runaway                    bool
}

func (c *constants) airOf(d drive) float64 {
	if d.air == 0 {
		return c.room
	}
	return d.air
}

// reachOf is the thermal resistance as far as it shows after these minutes.
func (c *constants) reachOf(minutes float64) float64 {
	if minutes <= 0 {
		return c.resistance
	}
	return -c.resistance * math.Expm1(-minutes/c.warmUp)
}

// settle solves T = air + reach·(dynamic + leak(T)) by Newton's iteration from
// below. The residual is concave in T, so the iteration climbs to the stable
// solution without passing it, or meets a loop gain of 1 when there is none.
// push multiplies the dynamic power.
func (c *constants) settle(d drive, push float64) settled {
	return c.settleFrom(d, push, 0)
}

// settleFrom is settle with a first guess, which saves steps when it is near;
// a guess on the far side of the critical point starts from below again.
func (c *constants) settleFrom(d drive, push, guess float64) settled {
	s := settled{air: c.airOf(d), reach: c.reachOf(d.minutes)}
	s.dynamic = c.dynamic * d.volt * d.volt * d.clock * push
	if d.factor >= 0 {
		s.dynamic *= c.factor[d.factor]
	}
	cold := s.air + s.reach*s.dynamic
	s.temp = math.Max(cold, guess)
	s.leak = c.leakAt(d, s.temp)
	for range 100 {
		s.gain = s.reach * c.perDegree * s.leak
		if s.gain >= 1 && s.temp == guess && guess > cold {
			c.warm(&s, cold-guess)
			continue
		}
		if s.gain >= 1 || s.temp > topTemp {
			return c.capped(d, s)
		}
		step := (s.air + s.reach*(s.dynamic+s.leak) - s.temp) / (1 - s.gain)
		c.warm(&s, step)
		if math.Abs(step) < closeEnough {
			break
		}
	}
	if s.temp > topTemp {
		return c.capped(d, s)
	}
	s.gain = s.reach * c.perDegree * s.leak
	s.power = s.dynamic + s.leak
	return s
}

func (c *constants) leakAt(d drive, temp float64) float64 {
	return d.volt * c.leak * math.Exp(c.perVolt*(d.volt-refVolt)+c.perDegree*(temp-refTemp))
}

// warm raises the temperature by so many degrees and the leakage with it. Small
// steps take seven terms of the exponential series, right to 2e-13.
func (c *constants) warm(s *settled, step float64) {
	s.temp += step
	x := c.perDegree * step
	if math.Abs(x) > 0.05 {
		s.leak *= math.Exp(x)
		return
	}
	s.leak *= 1 + x*(1+x/2*(1+x/3*(1+x/4*(1+x/5*(1+x/6)))))
}

// capped reports a loop that has no settled temperature below topTemp.
func (c *constants) capped(d drive, s settled) settled {
	s.temp, s.runaway = topTemp, true
	s.leak = c.leakAt(d, topTemp)
	s.power = s.dynamic + s.leak
	s.gain = math.Max(1, s.reach*c.perDegree*s.leak)
	return s
}

// slopes returns d(temp)/dθ and d(ln power)/dθ at a settled point, by
// differentiating the fixed point.
func (c *constants) slopes(d drive, s settled) (temp, logPower vector) {
	var part vector // ∂P/∂θ at fixed temperature
	part[iPower] = s.dynamic + s.leak
	part[iShare] = (1-c.share)*s.leak - c.share*s.dynamic
	part[iPerVolt] = s.leak * c.perVolt * (d.volt - refVolt)
	part[iPerDegree] = s.leak * c.perDegree * (s.temp - refTemp)
	if d.factor >= 0 {
		part[iFactor+d.factor] = s.dynamic
	}
	for i := range part {
		temp[i] = s.reach * part[i]
	}
	temp[iResistance] += s.reach * s.power
	if d.minutes > 0 {
		x := d.minutes / c.warmUp
		temp[iWarmUp] -= c.resistance * math.Exp(-x) * x * s.power
	}
	if d.air == 0 {
		temp[iRoom]++
	}
	for i := range temp {
		temp[i] /= 1 - s.gain
		logPower[i] = (part[i] + c.perDegree*s.leak*temp[i]) / s.power
	}
	return temp, logPower
}

// pushSlopes returns d(temp) and d(ln power) per relative change of the
// dynamic power.
func (c *constants) pushSlopes(s settled) (temp, logPower float64) {
	temp = s.reach * s.dynamic / (1 - s.gain)
	return temp, (s.dynamic + c.perDegree*s.leak*temp) / s.power
}
