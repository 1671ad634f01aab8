package page

import (
	"math"
	"slices"
	"strings"

	"belay/internal/trial"
)

// setting is how one setting is named and printed.
type setting struct {
	name, label, unit string
	number            func(trial.Settings) float64 // 0: as delivered
	text              func(trial.Settings) string  // instead of number
}

// settingsInOrder lists every setting in the order in which a person meets
// them.
var settingsInOrder = []setting{
	{name: "ratio", label: "Core ratio", unit: "×", number: func(s trial.Settings) float64 { return float64(s.Ratio) }},
	{name: "voltage_mode", label: "Voltage mode", text: func(s trial.Settings) string { return s.VoltageMode }},
	{name: "set_voltage_v", label: "Core voltage", unit: "V", number: func(s trial.Settings) float64 { return float64(s.SetVoltage) }},
	{name: "offset_v", label: "Voltage offset", unit: "V", number: func(s trial.Settings) float64 { return float64(s.Offset) }},
	{name: "load_line", label: "Load line", text: func(s trial.Settings) string { return s.LoadLine }},
	{name: "low_end_mv", label: "Low-end lift", unit: "mV", number: func(s trial.Settings) float64 { return s.LowEndMV }},
	{name: "wide_vector_offset", label: "Wide-vector offset", unit: "×", number: func(s trial.Settings) float64 { return float64(s.WideVectorOffset) }},
	{name: "cache_ratio", label: "Cache ratio", unit: "×", number: func(s trial.Settings) float64 { return float64(s.CacheRatio) }},
	{name: "sustained_limit_w", label: "Sustained power limit", unit: "W", number: func(s trial.Settings) float64 { return float64(s.SustainedLimit) }},
	{name: "short_limit_w", label: "Short power limit", unit: "W", number: func(s trial.Settings) float64 { return float64(s.ShortLimit) }},
	{name: "memory_profile", label: "Memory profile", text: func(s trial.Settings) string { return s.MemoryProfile }},
	{name: "data_rate_mts", label: "Memory data rate", unit: "MT/s", number: func(s trial.Settings) float64 { return float64(s.DataRate) }},
	{name: "cl", label: "CL", unit: "clk", number: func(s trial.Settings) float64 { return float64(s.CL) }},
	{name: "trcd", label: "tRCD", unit: "clk", number: func(s trial.Settings) float64 { return float64(s.TRCD) }},
	{name: "trp", label: "tRP", unit: "clk", number: func(s trial.Settings) float64 { return float64(s.TRP) }},
	{name: "tras", label: "tRAS", unit: "clk", number: func(s trial.Settings) float64 { return float64(s.TRAS) }},
	{name: "dram_voltage_v", label: "Memory voltage", unit: "V", number: func(s trial.Settings) float64 { return float64(s.DRAMVoltage) }},
}

// stock is what a setting is called that nobody has touched.
const stock = "as delivered"

// value prints the setting as s has it.
func (f setting) value(s trial.Settings) string {
	if f.text != nil {
		if t := f.text(s); t != "" {
			return t
		}
		return stock
	}
	v := f.number(s)
	switch {
	case v == 0:
		return stock
	case f.name == "ratio" || f.name == "cache_ratio":
		return number(v)
	case f.name == "wide_vector_offset":
		return number(v) + nbsp + "down"
	}
	return measure(f.unit, v)
}

// isSet reports whether the setting differs from the PC as delivered.
func (f setting) isSet(s trial.Settings) bool { return f.value(s) != stock }

// change says how far to lies from from.
func (f setting) change(from, to trial.Settings) string {
	before, after := f.value(from), f.value(to)
	switch {
	case before == after:
		return "stays"
	case f.text != nil || before == stock || after == stock:
		return "was " + before
	}
	d := f.number(to) - f.number(from)
	word := " higher than before"
	if d < 0 {
		word = " lower than before"
	}
	amount := measure(f.unit, math.Abs(d))
	if f.unit == "×" {
		amount = number(math.Abs(d))
	}
	return amount + word
}

// settingRow is one line of the table of what to enter.
type settingRow struct {
	Name, Label      string
	Now, New, Change string
	Changed          bool
}

// enterTable compares what is in the firmware with what should be: changed
// settings and those that stay, each in order.
func enterTable(now trial.Settings, p trial.Proposal) (changed, stays []settingRow) {
	for _, f := range settingsInOrder {
		row := settingRow{
			Name: f.name, Label: f.label, Now: f.value(now), New: f.value(p.Settings),
			Change: f.change(now, p.Settings),
		}
		row.Changed = slices.Contains(p.Changed, f.name) || row.Now != row.New
		switch {
		case row.Changed:
			changed = append(changed, row)
		case f.isSet(p.Settings):
			stays = append(stays, row)
		}
	}
	return changed, stays
}

// namedValue is a name with its printed value.
type namedValue struct{ Label, Value string }

// settingList prints every setting that differs from the PC as delivered.
func settingList(s trial.Settings) []namedValue {
	var out []namedValue
	for _, f := range settingsInOrder {
		if f.isSet(s) {
			out = append(out, namedValue{f.label, f.value(s)})
		}
	}
	return out
}

var loadWords = map[trial.Load]string{
	trial.Scalar: "all-core load", trial.WideVector: "wide-vector load", trial.Cache: "cache load",
	trial.Memory: "memory check", trial.Mixed: "mixed load", trial.Bursty: "bursts, light load and idle spells",
}

// loadName says a load in words.
func loadName(l trial.Load) string {
	if w := loadWords[l]; w != "" {
		return w
	}
	return string(l)
}

var outcomeWords = map[trial.Outcome]string{
	trial.Clean: "clean", trial.Error: "wrong result", trial.Froze: "froze", trial.Reset: "restarted by itself",
	trial.NoBoot: "did not start", trial.TooHot: "too hot", trial.Throttled: "slowed itself down", trial.Stopped: "stopped, says nothing",
}

// outcomeName says an outcome in words.
func outcomeName(o trial.Outcome) string {
	if w := outcomeWords[o]; w != "" {
		return w
	}
	return strings.ReplaceAll(string(o), "_", " ")
}

// outcomeMark is the shape of an outcome: done, failed, hot or skipped.
func outcomeMark(o trial.Outcome) string {
	switch {
	case o == trial.Clean:
		return "done"
	case o.Failed():
		return "failed"
	case o.Hot():
		return "hot"
	}
	return "skipped"
}
