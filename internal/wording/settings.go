// Package wording prints what a person reads of settings, loads, outcomes and
// figures, the same on the page, the card, the sheet and the charts.
package wording

import (
	"math"
	"slices"
	"strings"

	"belay/internal/trial"
)

// Setting is how one setting is named and printed.
type Setting struct {
	Name, Label, Unit string
	Number            func(trial.Settings) float64 // 0: as delivered
	Text              func(trial.Settings) string  // instead of number
}

// Settings lists every setting in the order in which a person meets
// them.
var Settings = []Setting{
	{Name: "ratio", Label: "Core ratio", Unit: "×", Number: func(s trial.Settings) float64 { return float64(s.Ratio) }},
	{Name: "voltage_mode", Label: "Voltage mode", Text: func(s trial.Settings) string { return s.VoltageMode }},
	{Name: "set_voltage_v", Label: "Core voltage", Unit: "V", Number: func(s trial.Settings) float64 { return float64(s.SetVoltage) }},
	{Name: "offset_v", Label: "Voltage offset", Unit: "V", Number: func(s trial.Settings) float64 { return float64(s.Offset) }},
	{Name: "load_line", Label: "Load line", Text: func(s trial.Settings) string { return s.LoadLine }},
	{Name: "low_end_mv", Label: "Low-end lift", Unit: "mV", Number: func(s trial.Settings) float64 { return s.LowEndMV }},
	{Name: "wide_vector_offset", Label: "Wide-vector offset", Unit: "×", Number: func(s trial.Settings) float64 { return float64(s.WideVectorOffset) }},
	{Name: "cache_ratio", Label: "Cache ratio", Unit: "×", Number: func(s trial.Settings) float64 { return float64(s.CacheRatio) }},
	{Name: "sustained_limit_w", Label: "Sustained power limit", Unit: "W", Number: func(s trial.Settings) float64 { return float64(s.SustainedLimit) }},
	{Name: "short_limit_w", Label: "Short power limit", Unit: "W", Number: func(s trial.Settings) float64 { return float64(s.ShortLimit) }},
	{Name: "memory_profile", Label: "Memory profile", Text: func(s trial.Settings) string { return s.MemoryProfile }},
	{Name: "data_rate_mts", Label: "Memory data rate", Unit: "MT/s", Number: func(s trial.Settings) float64 { return float64(s.DataRate) }},
	{Name: "cl", Label: "CL", Unit: "clk", Number: func(s trial.Settings) float64 { return float64(s.CL) }},
	{Name: "trcd", Label: "tRCD", Unit: "clk", Number: func(s trial.Settings) float64 { return float64(s.TRCD) }},
	{Name: "trp", Label: "tRP", Unit: "clk", Number: func(s trial.Settings) float64 { return float64(s.TRP) }},
	{Name: "tras", Label: "tRAS", Unit: "clk", Number: func(s trial.Settings) float64 { return float64(s.TRAS) }},
	{Name: "dram_voltage_v", Label: "Memory voltage", Unit: "V", Number: func(s trial.Settings) float64 { return float64(s.DRAMVoltage) }},
}

// Stock is what a setting is called that nobody has touched.
const Stock = "as delivered"

// Value prints the setting as s has it.
func (f Setting) Value(s trial.Settings) string {
	if f.Text != nil {
		if t := f.Text(s); t != "" {
			return t
		}
		return Stock
	}
	v := f.Number(s)
	switch {
	case v == 0:
		return Stock
	case f.Name == "ratio" || f.Name == "cache_ratio":
		return Number(v)
	case f.Name == "wide_vector_offset":
		return Number(v) + NBSP + "down"
	}
	return Measure(f.Unit, v)
}

// IsSet reports whether the setting differs from the PC as delivered.
func (f Setting) IsSet(s trial.Settings) bool { return f.Value(s) != Stock }

// Change says how far to lies from from.
func (f Setting) Change(from, to trial.Settings) string {
	before, after := f.Value(from), f.Value(to)
	switch {
	case before == after:
		return "stays"
	case f.Text != nil || before == Stock || after == Stock:
		return "was " + before
	}
	d := f.Number(to) - f.Number(from)
	word := " higher than before"
	if d < 0 {
		word = " lower than before"
	}
	amount := Measure(f.Unit, math.Abs(d))
	if f.Unit == "×" {
		amount = Number(math.Abs(d))
	}
	return amount + word
}

// Row is one line of the table of what to enter.
type Row struct {
	Name, Label      string
	Now, New, Change string
	Changed          bool
}

// EnterTable compares what is in the firmware with what should be: changed
// settings and those that stay, each in order.
func EnterTable(now trial.Settings, p trial.Proposal) (changed, stays []Row) {
	for _, f := range Settings {
		row := Row{
			Name: f.Name, Label: f.Label, Now: f.Value(now), New: f.Value(p.Settings),
			Change: f.Change(now, p.Settings),
		}
		row.Changed = slices.Contains(p.Changed, f.Name) || row.Now != row.New
		switch {
		case row.Changed:
			changed = append(changed, row)
		case f.IsSet(p.Settings):
			stays = append(stays, row)
		}
	}
	return changed, stays
}

// Pair is a name with its printed value.
type Pair struct{ Label, Value string }

// List prints every setting that differs from the PC as delivered.
func List(s trial.Settings) []Pair {
	var out []Pair
	for _, f := range Settings {
		if f.IsSet(s) {
			out = append(out, Pair{f.Label, f.Value(s)})
		}
	}
	return out
}

var loadWords = map[trial.Load]string{
	trial.Scalar: "all-core load", trial.WideVector: "wide-vector load", trial.Cache: "cache load",
	trial.Memory: "memory check", trial.Mixed: "mixed load", trial.Bursty: "bursts, light load and idle spells",
}

// Load says a load in words.
func Load(l trial.Load) string {
	if w := loadWords[l]; w != "" {
		return w
	}
	return string(l)
}

var outcomeWords = map[trial.Outcome]string{
	trial.Clean: "clean", trial.Error: "wrong result", trial.Froze: "froze", trial.Reset: "restarted by itself",
	trial.NoBoot: "did not start", trial.TooHot: "too hot", trial.Throttled: "slowed itself down", trial.Stopped: "stopped, says nothing",
}

// Outcome says an outcome in words.
func Outcome(o trial.Outcome) string {
	if w := outcomeWords[o]; w != "" {
		return w
	}
	return strings.ReplaceAll(string(o), "_", " ")
}

// Mark is the shape of an outcome: done, failed, hot or skipped.
func Mark(o trial.Outcome) string {
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
