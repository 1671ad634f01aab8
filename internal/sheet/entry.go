package sheet

import (
	"strconv"
	"strings"

	"belay/internal/trial"
	"belay/internal/units"
)

// entry is one setting as a person meets it in the firmware setup.
type entry struct {
	name   string // the API's name
	label  string
	also   string // the usual other words
	unit   string // symbol, "" for text and "steps down" for the wide-vector offset
	group  group
	number func(trial.Settings) float64 // 0 for a text setting
	text   func(trial.Settings) string  // nil for a number
}

// group joins the settings that one trial proves together.
type group string

const (
	memory group = "memory settings"
	power  group = "power limits"
	core   group = "core voltage and ratio"
	vector group = "wide-vector offset"
	cache  group = "cache ratio"
)

// groups lists the groups in the order of the sheet.
var groups = []group{memory, power, core, vector, cache}

const stepsDown = "steps down"

func none(trial.Settings) float64 { return 0 }

// entries are all settings in the order in which one enters them. Memory
// comes first because choosing a profile may change other values; the voltage
// mode comes before the voltage because it decides which field is shown.
var entries = []entry{
	{"memory_profile", "Memory profile", "rated profile, kit profile", "", memory, none, func(s trial.Settings) string { return s.MemoryProfile }},
	{"data_rate_mts", "Memory data rate", "memory speed or frequency", "MT/s", memory, func(s trial.Settings) float64 { return float64(s.DataRate) }, nil},
	{"cl", "CL", "CAS latency, tCL", "clk", memory, func(s trial.Settings) float64 { return float64(s.CL) }, nil},
	{"trcd", "tRCD", "RAS to CAS delay", "clk", memory, func(s trial.Settings) float64 { return float64(s.TRCD) }, nil},
	{"trp", "tRP", "row precharge time", "clk", memory, func(s trial.Settings) float64 { return float64(s.TRP) }, nil},
	{"tras", "tRAS", "row active time", "clk", memory, func(s trial.Settings) float64 { return float64(s.TRAS) }, nil},
	{"dram_voltage_v", "Memory voltage", "DRAM voltage, VDD", "V", memory, func(s trial.Settings) float64 { return float64(s.DRAMVoltage) }, nil},
	{"sustained_limit_w", "Sustained power limit", "long-duration limit, PL1", "W", power, func(s trial.Settings) float64 { return float64(s.SustainedLimit) }, nil},
	{"short_limit_w", "Short power limit", "short-duration limit, PL2", "W", power, func(s trial.Settings) float64 { return float64(s.ShortLimit) }, nil},
	{"load_line", "Load line", "load-line calibration", "", core, none, func(s trial.Settings) string { return s.LoadLine }},
	{"voltage_mode", "Core voltage mode", "voltage control", "", core, none, func(s trial.Settings) string { return s.VoltageMode }},
	{"set_voltage_v", "Set core voltage", "Vcore, processor core voltage", "V", core, func(s trial.Settings) float64 { return float64(s.SetVoltage) }, nil},
	{"offset_v", "Core voltage offset", "delta voltage; mind the sign", "V", core, func(s trial.Settings) float64 { return float64(s.Offset) }, nil},
	{"low_end_mv", "Lift of the low end", "light-load or idle voltage", "mV", core, func(s trial.Settings) float64 { return s.LowEndMV }, nil},
	{"ratio", "Core ratio on all cores", "core multiplier, turbo ratio limit", "×", core, func(s trial.Settings) float64 { return float64(s.Ratio) }, nil},
	{"wide_vector_offset", "Wide-vector offset", "vector ratio offset; often typed as -1 for 1", stepsDown, vector, func(s trial.Settings) float64 { return float64(s.WideVectorOffset) }, nil},
	{"cache_ratio", "Cache ratio", "ring ratio, uncore ratio", "×", cache, func(s trial.Settings) float64 { return float64(s.CacheRatio) }, nil},
}

// set reports whether the setting differs from "as delivered" and is to be
// entered. In offset mode the offset replaces the core voltage, even at 0 V.
func (e entry) set(s trial.Settings) bool {
	offsetMode := s.VoltageMode == "offset"
	switch e.name {
	case "set_voltage_v":
		return s.SetVoltage != 0 && !offsetMode
	case "offset_v":
		return s.Offset != 0 || offsetMode
	}
	return e.value(s) != nil
}

// value returns the value as a number or text, nil if it is as delivered.
func (e entry) value(s trial.Settings) any {
	if e.text != nil {
		if t := e.text(s); t != "" {
			return t
		}
		return nil
	}
	if n := e.number(s); n != 0 {
		return n
	}
	return nil
}

// bare returns the value without its unit, with the decimals it deserves.
func (e entry) bare(s trial.Settings) string {
	switch {
	case e.text != nil:
		return e.text(s)
	case e.unit == stepsDown:
		return strconv.FormatFloat(e.number(s), 'f', -1, 64)
	}
	return strings.TrimSpace(strings.TrimSuffix(units.Format(e.unit, e.number(s)), e.unit))
}

// print returns the value with its unit.
func (e entry) print(s trial.Settings) string {
	switch {
	case e.text != nil:
		return e.text(s)
	case e.unit == stepsDown && e.number(s) == 1:
		return "1 step down"
	case e.unit == stepsDown:
		return e.bare(s) + " steps down"
	}
	return units.Format(e.unit, e.number(s))
}

// stock returns the value as delivered, "automatic" if it is not known as a number.
func (e entry) stock(s trial.Settings) string {
	if e.value(s) == nil {
		return "automatic"
	}
	return e.print(s)
}

// modeWords are the usual other words for the voltage modes.
var modeWords = map[string]string{
	"static": "fixed, manual, override", "adaptive": "dynamic voltage", "offset": "delta voltage",
}

// others returns the usual other words, for the voltage mode those of the chosen one.
func (e entry) others(s trial.Settings) string {
	if words := modeWords[s.VoltageMode]; e.name == "voltage_mode" && words != "" {
		return words
	}
	return e.also
}

// title returns the label, made exact by the voltage mode.
func (e entry) title(s trial.Settings) string {
	if e.name == "set_voltage_v" && s.VoltageMode == "adaptive" {
		return "Core voltage at the top ratio"
	}
	return e.label
}
