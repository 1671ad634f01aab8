package planner

import (
	"fmt"
	"math"

	"belay/internal/trial"
	"belay/internal/units"
)

// Shares of the time that a person will spend. Chosen: the stages after the
// core search run five long trials and need two hours and a half; at least a
// quarter of the whole stays for the core.
const (
	laterMinutes = 150.0
	leastShare   = 0.25
)

// minutesOf is what a trial cost, with the change in the firmware setup before
// it and the restart after a crash.
func minutesOf(before trial.Settings, t trial.Trial) float64 {
	m := reportMinutes + float64(t.Minutes)
	if t.TimeUnknown {
		m += float64(t.PlannedMinutes) / 2
	}
	if len(trial.Diff(before, t.Settings)) > 0 {
		m += changeMinutes
	}
	if t.Outcome.Crash() {
		m += crashMinutes
	}
	return m
}

// Spent returns the minutes that trials took, with everything around them.
func Spent(trials []trial.Trial) float64 {
	total := 0.0
	var before trial.Settings
	for _, t := range trials {
		total += minutesOf(before, t)
		before = t.Settings
	}
	return total
}

// left is how many minutes the core search may still take; +Inf without a
// wish.
func (c *coreSearch) left() float64 {
	if c.Wishes.Hours <= 0 {
		return math.Inf(1)
	}
	all := c.Wishes.Hours * 60
	mine := Spent(c.mine)
	before := Spent(c.Trials) - mine
	return max(all-before-laterMinutes, leastShare*all) - mine
}

// affords reports whether the time left holds so many minutes and the closing
// trial after them.
func (c *coreSearch) affords(minutes float64) bool {
	return c.left() >= minutes+float64(soakMinutes)+changeMinutes+reportMinutes
}

// another says what another hour of shadow trials would buy, or "".
func (c *coreSearch) another(keep trial.Settings) string {
	g := c.bestShadow(keep)
	if g.cost <= 0 {
		return ""
	}
	mv := 0.0
	if n := 60 / g.cost; n >= 1 {
		mv = g.mv * math.Sqrt(n) // evidence narrows with the root of its amount
	}
	if mv < 1 {
		return "Another hour of trials would hardly bring the voltage down."
	}
	return fmt.Sprintf("Another hour of trials would bring the voltage down by about %v.", units.Format("mV", math.Round(mv)))
}

// Reserves below the temperature limit by what matters to the person, °C.
// Chosen: ten degrees are a clear step of fan speed on most coolers.
var coolReserve = map[string]units.Celsius{"cool": 10, "quiet": 15}

// wished lowers the temperature limit for who asked for a cool or a quiet PC.
func wished(in Input) Input {
	if in.Search == "core" || in.Search == "wide-vector" {
		in.Limits.TempLimit -= coolReserve[in.Wishes.Priority]
	}
	return in
}
