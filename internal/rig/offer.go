package rig

import (
	"math"

	"belay/internal/trial"
)

// Offer returns the values of the guide's fields that were read, and where
// each came from. What a table may tell wrongly is left out: the rated
// timings, the voltage of the kit and the all-core ratio are for the person.
func (r Report) Offer() (trial.Values, map[string]string) {
	values, sources := trial.Values{}, map[string]string{}
	take := func(field, fact string) {
		if f, ok := r.find(fact); ok {
			values[field], sources[field] = f.Value, f.Source
		}
	}
	for _, name := range []string{"core_count", "base_clock_mhz", "firmware_version", "memory_modules", "memory_gb", "kit_rate_mts"} {
		take(name, name)
	}
	if f, ok := r.find("memory_standard"); ok && (f.Value == "ddr4" || f.Value == "ddr5") {
		take("memory_standard", "memory_standard")
	}
	if f, ok := r.find("sustained_limit_w"); ok && f.Value.(float64) < noLimit {
		take("stock_sustained_limit_w", "sustained_limit_w")
		values["stock_sustained_limit_w"] = math.Round(f.Value.(float64))
	}
	if limit, from := r.tempLimit(); limit > 0 {
		values["temp_limit_c"], sources["temp_limit_c"] = limit, from
	}
	return values, sources
}

// tempLimit is the lowest critical temperature of the core sensors.
func (r Report) tempLimit() (limit float64, from string) {
	for _, c := range r.Sensors {
		if c.used && c.Limit > 0 && (limit == 0 || c.Limit < limit) {
			limit, from = math.Round(c.Limit), c.Source+" (its critical value)"
		}
	}
	return limit, from
}
