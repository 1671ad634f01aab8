package virtualrig

import (
	"math"

	"belay/internal/trial"
	"belay/internal/units"
)

// Need is the truth, for judging only: the load voltage at which the cores
// run this load at this ratio and temperature for targetHours on average. It
// returns NaN for an unknown load or a target that is not a positive number.
func (r *Rig) Need(load trial.Load, ratio units.Ratio, temp units.Celsius, targetHours float64) units.Volt {
	i, ok := loadIndex(load)
	if !ok || !(targetHours > 0) || math.IsInf(targetHours, 1) || math.IsNaN(float64(temp)) || math.IsInf(float64(temp), 0) {
		return units.Volt(math.NaN())
	}
	return units.Volt(r.t.core.voltageFor(i, float64(ratio), float64(temp), 1/(60*targetHours)))
}

// TrueMTBF is the truth, for judging only: mean hours between failures under
// this load once it has settled, 0 if the rig does not start. Resets that no
// setting cures are left out, so that a planner is judged by what it decides.
// It returns NaN for an unknown load.
func (r *Rig) TrueMTBF(s trial.Settings, load trial.Load) float64 {
	i, ok := loadIndex(load)
	if !ok {
		return math.NaN()
	}
	u, ok := r.t.accept(s)
	if !ok || !r.t.boots(u) {
		return 0
	}
	st := r.t.settle(i, u).settled
	h := r.t.hazards(i, u, st, min(st.temp, r.t.cooling.limit))
	h.stray = 0
	return 1 / (60 * h.total())
}

// Bounds is what a setting must keep to, for Oracle.
type Bounds struct {
	Ceiling     units.Volt    // highest load voltage
	TempLimit   units.Celsius // highest settled temperature
	PowerLimit  units.Watt    // highest package power; 0 = none
	TargetHours float64       // mean time between failures of each load
	Loads       []trial.Load  // every load that must hold; at least one
}

// Best is what Oracle finds.
type Best struct {
	Ratio       units.Ratio
	LoadVoltage units.Volt    // what the hungriest load needs, hot, with the cache at its delivered ratio
	Temp        units.Celsius // settled, of the hottest load
	Power       units.Watt    // of the hottest load
}

// Oracle is the truth, for judging only: the highest all-core ratio that meets
// the target within the bounds with a load line that does not droop and the
// power limit lifted, and the least load voltage that does it. It returns
// false if not even the lowest ratio does, or for bounds without meaning.
func (r *Rig) Oracle(b Bounds) (Best, bool) {
	for ratio := units.Ratio(r.t.core.stock) + 20; ratio >= slowest; ratio-- {
		if best, ok := r.holds(ratio, b); ok {
			return best, true
		}
	}
	return Best{}, false
}

// holds finds the least voltage at which every load meets the target at this
// ratio, then checks heat and power there. Heat moves the need by less than
// 1 mV per °C, so the loop closes within a few rounds.
func (r *Rig) holds(ratio units.Ratio, b Bounds) (Best, bool) {
	best := Best{Ratio: ratio}
	temps := make([]units.Celsius, len(b.Loads))
	for i := range temps {
		temps[i] = needTemp
	}
	for range 8 {
		best = Best{Ratio: ratio}
		for i, load := range b.Loads {
			best.LoadVoltage = max(best.LoadVoltage, r.needWithCache(load, ratio, temps[i], b.TargetHours))
		}
		if !(best.LoadVoltage > 0 && best.LoadVoltage <= b.Ceiling) { // also false for NaN
			return best, false
		}
		for i, load := range b.Loads {
			s := r.direct(load, ratio, best.LoadVoltage)
			temps[i] = units.Celsius(s.temp)
			best.Temp, best.Power = max(best.Temp, temps[i]), max(best.Power, units.Watt(s.watts))
		}
	}
	return best, best.Temp <= b.TempLimit && (b.PowerLimit == 0 || best.Power <= b.PowerLimit)
}

// needWithCache is Need with the cache, at its delivered ratio, sharing the
// target: at low core ratios the cache is the hungrier of the two.
func (r *Rig) needWithCache(load trial.Load, ratio units.Ratio, temp units.Celsius, targetHours float64) units.Volt {
	least := r.Need(load, ratio, temp, targetHours)
	i, ok := loadIndex(load)
	if !ok || math.IsNaN(float64(least)) {
		return units.Volt(math.NaN())
	}
	u := setup{ratio: float64(ratio), cache: r.t.cache.stock, memory: r.t.dram.kit.ordinary}
	return units.Volt(bisect(float64(least), float64(least)+0.5, func(v float64) bool {
		h := r.t.hazards(i, u, state{ratio: u.ratio, volts: v}, float64(temp))
		return h.core+h.cache <= 1/(60*targetHours)
	}))
}

// direct returns the settled state at a ratio and load voltage, no limit acting.
func (r *Rig) direct(load trial.Load, ratio units.Ratio, volts units.Volt) state {
	i, _ := loadIndex(load) // Need has rejected an unknown load
	return r.t.balance(i, setup{fixed: float64(volts)}, float64(ratio), r.t.cooling)
}
