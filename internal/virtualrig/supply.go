package virtualrig

import (
	"math"

	"belay/internal/trial"
)

const (
	lowestVoltage = 0.65  // V, floor of the automatic curve; chosen
	automaticRise = 0.08  // V, most that the automatic curve adds above its value at stock; chosen
	unlimited     = 999.0 // W, what a firmware shows for "no limit"; chosen
)

// level is one load-line level: the firmware's name and the true slope.
type level struct {
	name string
	ohm  float64
}

// supply is the truth about the board: voltage curve, load line, limits.
type supply struct {
	levels   []level // from steep to flat
	standard int     // level as delivered
	auto     float64 // V, automatic set voltage at the stock ratio
	stock    float64 // ratio
	slope    float64 // V per step of the automatic curve
	curve    float64 // V per squared step above stock
	idle     float64 // V, automatic voltage at the low end
	idleNeed float64 // V at the low end that lasts ten minutes on average
	sag      float64 // V lost at the low end in adaptive and offset mode
	limit    float64 // W, sustained limit as delivered
	rating   float64 // W, power supply
	firmware string
}

// automatic is the set voltage of the delivered curve at a ratio.
func (s *supply) automatic(ratio float64) float64 {
	d := ratio - s.stock
	v := s.auto + s.slope*d
	if d > 0 {
		v += s.curve * d * d
	}
	return min(max(v, lowestVoltage), s.auto+automaticRise)
}

// setup is a group of settings as the firmware has taken them.
type setup struct {
	ratio, cache float64
	wideOffset   float64
	fixed        float64 // V, static voltage; 0 = follow the curve
	shift        float64 // V on the curve
	low          float64 // V at the low end
	ohm          float64
	limit        float64 // W
	memory       timing
}

// voltage is the set voltage at a ratio.
func (u *setup) voltage(s *supply, ratio float64) float64 {
	if u.fixed > 0 {
		return u.fixed
	}
	return max(s.automatic(ratio)+u.shift, 0.3)
}

// inRange bounds what a firmware takes; outside it the rig does not start.
// Bounds chosen: wider than any sane setting.
func inRange(s trial.Settings) bool {
	for _, x := range []struct{ v, lo, hi float64 }{
		{float64(s.Ratio), slowest, 120},
		{float64(s.CacheRatio), slowest, 120},
		{float64(s.SetVoltage), 0.5, 1.8},
		{float64(s.Offset), -0.5, 0.5},
		{s.LowEndMV, 0, 300},
		{float64(s.WideVectorOffset), 0, 60},
		{float64(s.SustainedLimit), 10, 1e5},
		{float64(s.ShortLimit), 10, 1e5},
	} {
		if x.v != 0 && !(x.v >= x.lo && x.v <= x.hi) { // also false for NaN
			return false
		}
	}
	switch s.VoltageMode {
	case "", "static", "adaptive", "offset":
		return s.MemoryProfile == "" || s.MemoryProfile == "on" || s.MemoryProfile == "off"
	}
	return false
}

// accept turns settings into what the firmware makes of them; false means
// that the rig does not start with them, memory aside.
func (t *truth) accept(s trial.Settings) (setup, bool) {
	if !inRange(s) {
		return setup{}, false
	}
	u := setup{
		ratio: t.core.stock, cache: t.cache.stock, wideOffset: float64(s.WideVectorOffset),
		ohm: t.supply.ohm(s.LoadLine), limit: t.supply.limit, memory: t.dram.resolve(s),
	}
	if s.Ratio != 0 {
		u.ratio = float64(s.Ratio)
	}
	if s.CacheRatio != 0 {
		u.cache = float64(s.CacheRatio)
	}
	if s.SustainedLimit != 0 {
		u.limit = float64(s.SustainedLimit)
	}
	if s.ShortLimit != 0 { // a short limit below the sustained one holds all the time
		u.limit = min(u.limit, float64(s.ShortLimit))
	}
	u.setVoltage(&t.supply, s)
	return u, true
}

// setVoltage fills the voltage part. A set voltage without a mode is static,
// an offset alone is offset mode.
func (u *setup) setVoltage(p *supply, s trial.Settings) {
	lift := s.LowEndMV / 1000
	switch {
	case s.SetVoltage > 0 && (s.VoltageMode == "" || s.VoltageMode == "static"):
		u.fixed, u.low = float64(s.SetVoltage), float64(s.SetVoltage)
	case s.SetVoltage > 0 && s.VoltageMode == "adaptive":
		u.shift = float64(s.SetVoltage+s.Offset) - p.automatic(u.ratio)
		u.low = p.idle + float64(s.Offset) + lift - p.sag
	case s.Offset != 0 || s.VoltageMode == "adaptive" || s.VoltageMode == "offset":
		u.shift = float64(s.Offset)
		u.low = p.idle + float64(s.Offset) + lift - p.sag
	default:
		u.low = p.idle + lift
	}
}

// ohm returns the slope of a level; a name that the firmware does not offer
// leaves the delivered level in place.
func (s *supply) ohm(name string) float64 {
	for _, l := range s.levels {
		if l.name == name {
			return l.ohm
		}
	}
	return s.levels[s.standard].ohm
}

// boots reports whether the rig starts: the voltage of a light start-up load
// must not be far below what core and cache need, and memory must train.
func (t *truth) boots(u setup) bool {
	start := t.cooling
	start.rth, start.air = 0, 50 // °C; chosen: a machine that starts is warm, not hot
	v := t.balance(memory, u, u.ratio, start).volts
	need := math.Inf(-1)
	for i := range t.core.each {
		need = max(need, t.core.needOf(i, scalar, u.ratio, start.air))
	}
	need = max(need, t.cache.needAt(u.cache))
	return v > need-t.core.boot && t.dram.trains(u.memory)
}
