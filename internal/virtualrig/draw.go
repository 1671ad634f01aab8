package virtualrig

import (
	"math"
	"strconv"
)

// truth is everything about a rig that a person cannot read off it.
type truth struct {
	core    core
	cache   cache
	heat    heat
	cooling cooling
	supply  supply
	dram    dram
	meter   meter
	bench   bench
	stray   float64 // failures per minute that no setting cures
	warms   bool    // the hazard follows the temperature as it rises
	coarse  bool    // times to failure are coarse or unknown
}

// soundHazard is the hazard per minute of the delivered settings under the
// hardest load, unless a trait says otherwise: one failure in eight years of
// load. Chosen: it leaves the scalar load a median margin of 13 % of the load
// voltage; published guardbands average 12 % (Papadimitriou et al. 2020).
const soundHazard = 2.3e-7

// drawTruth draws the rig. Every range is listed with its origin in
// docs/models/practice-rig.md.
func drawTruth(seed uint64, v Variant, q quirks) truth {
	d := newDice(seed, streamParts)
	t := truth{core: drawCore(d)}
	t.cooling = drawCooling(d)
	t.cache = drawCache(d, t.core, q)
	t.heat = drawHeat(d, t.core.count)
	t.dram = drawDRAM(d, q)
	t.meter = drawMeter(d)
	t.bench = drawBench(d, t.core.count)
	t.applyLaw(newDice(seed, streamLaw, number(string(v))), v, q)
	t.supply = drawSupply(d, &t, q)
	t.fitCooler(d, q)
	if q.unstable {
		t.weaken(d)
	}
	return t
}

func drawCore(d dice) core {
	c := core{
		count: pick(d, 6, 8, 10, 10, 10),
		stock: math.Round(d.between(46.6, 51.4)),
		need:  d.normal(1.110, 0.022, 1.050, 1.170),
		slope: 0.001 * min(max(30*math.Exp(0.2*d.NormFloat64()), 21), 45),
		width: 0.001 * d.between(4.3, 8.7),
		each:  []oneCore{{slope: 1, width: 1}},
		boot:  d.between(0.060, 0.090),
	}
	// The local slope five steps above stock stays within 60 mV per step.
	c.curve = min(d.between(0.0004, 0.0022), (0.060-c.slope)/10)
	c.perDeg = 0.001 * d.normal(0, 0.15, -0.4, 0.4)
	c.offset = [loads]float64{
		scalar: 0,
		wide:   d.normal(0.030, 0.012, 0.014, 0.055),
		cached: d.between(-0.012, 0.004),
		memory: d.between(-0.040, -0.010),
		mixed:  d.between(0, 0.012),
		bursty: d.between(-0.045, -0.025),
	}
	return c
}

func drawCooling(d dice) cooling {
	c := cooling{
		kind: pick(d, "air", "liquid"), air: quantise(d.between(19, 28), 0.1),
		limit: pick(d, 100.0, 100, 100, 95, 105), tau: d.between(0.8, 1.8),
	}
	if c.rth = d.between(0.17, 0.22); c.kind == "air" {
		c.rth += 0.06
	}
	return c
}

func drawCache(d dice, c core, q quirks) cache {
	x := cache{
		stock: c.stock - float64(pick(d, 4, 5, 6)), need: c.need - d.between(0.040, 0.090),
		slope: 0.001 * d.between(25, 40), curve: 0.001 * d.between(0.4, 1.2),
		elasticity: d.between(0.05, 0.15),
	}
	if q.cacheNoGain {
		x.elasticity = 0
	}
	return x
}

// drawHeat draws power for ten cores, of which a quarter does not shrink with
// the number of cores (chosen).
func drawHeat(d dice, cores int) heat {
	size := 0.25 + 0.075*float64(cores)
	return heat{
		dynamic: size * d.between(18, 25), leak: size * d.between(25, 40),
		perVolt: d.between(2, 4), perDeg: d.between(0.010, 0.020),
		activity: [loads]float64{
			scalar: 1, wide: d.between(1.12, 1.28), cached: d.between(0.72, 0.85),
			memory: d.between(0.40, 0.50), mixed: d.between(0.90, 1.0), bursty: d.between(0.30, 0.40),
		},
	}
}

// applyLaw turns the rig into the variant's kind.
func (t *truth) applyLaw(d dice, v Variant, q quirks) {
	if q.background {
		t.stray = 1 / (60 * d.between(30, 100))
	}
	if v == Gaussian {
		t.core.law = lawNormal
	}
	if v == HeavyTail || v == Worst {
		t.core.law = lawHeavy
	}
	if v == PerCore || v == Worst {
		t.spreadCores(d)
	}
	if v == MeterDrift || v == Worst {
		t.meter.offset = d.between(0.008, 0.020) * pick(d, -1.0, 1)
		t.meter.wander = d.between(0.004, 0.012)
	}
	if v == WarmUp || v == Worst {
		t.warms = true
		t.core.perDeg = 0.001 * d.between(0.25, 0.60)
		t.cooling.tau = d.between(4, 9)
	}
	t.coarse = v == CoarseTimes || v == Worst
}

// spreadCores gives each core its own need, slope and width; the neediest
// keeps the need that was drawn for the rig.
func (t *truth) spreadCores(d dice) {
	c := &t.core
	c.each = make([]oneCore, c.count)
	most := math.Inf(-1)
	for i := range c.each {
		c.each[i] = oneCore{
			shift: 0.008 * d.NormFloat64(),
			slope: d.normal(1, 0.06, 0.020/c.slope, (0.060-10*c.curve)/c.slope),
			width: d.between(0.85, 1.15),
		}
		most = max(most, c.each[i].shift)
	}
	for i := range c.each {
		c.each[i].shift -= most
	}
}

// drawSupply draws the board. Its automatic curve gains margin with the ratio;
// below the stock ratio the smaller droop does the same.
func drawSupply(d dice, t *truth, q quirks) supply {
	s := supply{
		stock: t.core.stock, slope: 1.15 * t.core.slope, curve: 1.1 * t.core.curve,
		limit: 125, rating: pick(d, 650.0, 750, 850), firmware: pick(d, "1.04", "1.11", "2.02", "2.30"),
	}
	if t.core.count < 8 {
		s.limit = 95
	}
	if q.capLifted {
		s.limit = unlimited
	}
	s.levels, s.standard = drawLoadLine(d, q), 2

	// The delivered voltage holds the hardest load, cold or hot, with margin,
	// and the firmware rounds it up to 5 mV.
	hot := t.cooling.limit
	v := max(
		t.core.voltageFor(wide, t.core.stock, hot, soundHazard),
		t.core.voltageFor(wide, t.core.stock, t.cooling.idle(), soundHazard),
	) + d.between(0.005, 0.025)
	droop := s.levels[s.standard].ohm * t.heat.watts(wide, v, t.core.stock, hot) / v
	s.auto = math.Ceil((v+droop)*200) / 200

	margin := bisect(0, 0.5, func(x float64) bool { return t.core.law.hazard(x/t.core.width) <= soundHazard })
	s.idleNeed = d.between(0.66, 0.72)
	s.idle = s.idleNeed + margin + d.between(0.020, 0.090)
	s.sag = d.between(0, 0.010)
	if q.idle {
		s.sag = s.idle - s.idleNeed + t.core.width*d.between(-0.7, 1.5)
	}
	return s
}

// drawLoadLine draws five to eight levels with even steps from steep to flat.
// Whether level 1 is the steepest or the flattest is a toss: boards do not agree.
func drawLoadLine(d dice, q quirks) []level {
	flat, steep := 0.001*d.between(0.02, 0.15), 0.001*d.between(0.8, 1.2)
	switch {
	case q.droopHuge:
		flat = 0.001 * d.between(0.45, 0.60)
	case q.overshoot:
		flat = -0.001 * d.between(0.10, 0.25)
	}
	levels := make([]level, 5+d.IntN(4))
	oneIsSteep := d.chance(0.5)
	for i := range levels {
		place := i + 1
		if !oneIsSteep {
			place = len(levels) - i
		}
		levels[i] = level{strconv.Itoa(place), steep + (flat-steep)*float64(i)/float64(len(levels)-1)}
	}
	return levels
}

// fitCooler bounds the cooler so that a rig is hot only when a trait says so:
// without power limit it stays clear of its temperature limit at delivered
// voltage under the scalar load, and under every load if delivered that way.
func (t *truth) fitCooler(d dice, q quirks) {
	u := setup{ratio: t.core.stock, ohm: t.supply.levels[t.supply.standard].ohm, limit: unlimited}
	free := func(load int, temp float64) float64 {
		at := t.cooling
		at.rth, at.air = 0, temp
		return t.balance(load, u, u.ratio, at).watts
	}
	c := &t.cooling
	hardest := scalar
	if q.capLifted {
		hardest = wide
	}
	switch {
	case q.throttles:
		c.rth = (c.limit + d.between(3, 9) - c.air) / min(t.supply.limit, free(scalar, c.limit))
	case q.hotUncapped:
		c.rth = (c.limit + d.between(3, 12) - c.air) / free(scalar, c.limit)
	default:
		cool := c.limit - d.between(6, 14)
		c.rth = min(c.rth, (cool-c.air)/free(hardest, cool))
	}
}

// weaken lowers the delivered curve until the scalar load fails within some
// ten or twenty minutes.
func (t *truth) weaken(d dice) {
	target := d.between(0.08, 0.14)
	top := t.supply.auto
	t.supply.auto = bisect(top-0.5, top, func(auto float64) bool {
		t.supply.auto = auto
		u := setup{ratio: t.core.stock, cache: t.cache.stock, ohm: t.supply.levels[t.supply.standard].ohm, limit: t.supply.limit}
		s := t.settle(scalar, u).settled
		return t.core.hazard(scalar, s.ratio, s.volts, s.temp) <= target
	})
}
