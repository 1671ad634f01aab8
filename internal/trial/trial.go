// Package trial holds the words that every floor shares: what is set in the
// firmware, which load runs, how it ends and what is read meanwhile.
//
// It is plain data without behaviour beyond naming and comparing, so that
// the models, the planner, the events and the practice rig mean the same
// thing by the same word.
package trial

import (
	"reflect"
	"strings"

	"belay/internal/units"
)

// Load is a class of work that a trial runs.
type Load string

const (
	Scalar     Load = "scalar"      // all cores, no wide vectors
	WideVector Load = "wide-vector" // all cores, the widest vectors
	Cache      Load = "cache"       // cores walk and share cached data
	Memory     Load = "memory"      // a memory check with coverage
	Mixed      Load = "mixed"       // everything at once
	Bursty     Load = "bursty"      // bursts, light load and idle spells
)

// Loads lists every load class in the order of the job.
var Loads = []Load{Scalar, WideVector, Cache, Memory, Mixed, Bursty}

// Outcome says how a trial ended.
type Outcome string

const (
	Clean     Outcome = "clean"     // ran its whole time, every result right
	Error     Outcome = "error"     // a wrong result, or the load program ended by itself
	Froze     Outcome = "froze"     // the PC stopped answering
	Reset     Outcome = "reset"     // the PC restarted by itself
	NoBoot    Outcome = "no_boot"   // the PC did not start with these settings
	TooHot    Outcome = "too_hot"   // stopped because of temperature
	Throttled Outcome = "throttled" // the processor slowed itself down
	Stopped   Outcome = "stopped"   // a person stopped it, or the power went: says nothing
)

// Outcomes lists every outcome.
var Outcomes = []Outcome{Clean, Error, Froze, Reset, NoBoot, TooHot, Throttled, Stopped}

// Failed reports whether the outcome speaks against the settings' voltage:
// a wrong result, a freeze, a reset, or no start.
func (o Outcome) Failed() bool { return o == Error || o == Froze || o == Reset || o == NoBoot }

// Crash reports whether the machine itself went down.
func (o Outcome) Crash() bool { return o == Froze || o == Reset || o == NoBoot }

// Hot reports whether heat ended or spoilt the trial.
func (o Outcome) Hot() bool { return o == TooHot || o == Throttled }

// Settings is what the person has entered in the firmware. The zero value of
// each field means "as delivered", so an empty Settings is a stock PC. Field
// names are those of the API.
type Settings struct {
	Ratio            units.Ratio `json:"ratio,omitzero"`              // all-core ratio
	CacheRatio       units.Ratio `json:"cache_ratio,omitzero"`        // ratio of the shared cache
	SetVoltage       units.Volt  `json:"set_voltage_v,omitzero"`      // core voltage as set; with adaptive the target at the top ratio
	VoltageMode      string      `json:"voltage_mode,omitzero"`       // static, adaptive or offset
	Offset           units.Volt  `json:"offset_v,omitzero"`           // offset from the stock curve
	LoadLine         string      `json:"load_line,omitzero"`          // the board's own level
	LowEndMV         float64     `json:"low_end_mv,omitzero"`         // lift of the low end for light load, mV
	WideVectorOffset int         `json:"wide_vector_offset,omitzero"` // ratio steps down under wide vectors, >= 0
	SustainedLimit   units.Watt  `json:"sustained_limit_w,omitzero"`  // long-duration power limit
	ShortLimit       units.Watt  `json:"short_limit_w,omitzero"`      // short-duration power limit
	MemoryProfile    string      `json:"memory_profile,omitzero"`     // on or off
	DataRate         int         `json:"data_rate_mts,omitzero"`      // MT/s
	CL               int         `json:"cl,omitzero"`                 // clocks
	TRCD             int         `json:"trcd,omitzero"`               // clocks
	TRP              int         `json:"trp,omitzero"`                // clocks
	TRAS             int         `json:"tras,omitzero"`               // clocks
	DRAMVoltage      units.Volt  `json:"dram_voltage_v,omitzero"`     // memory voltage
}

// Readings is what was measured while a trial ran. Zero means "not read".
type Readings struct {
	LoadVoltage  units.Volt      `json:"load_voltage_v,omitzero"`  // median core voltage under load
	CoreTemp     units.Celsius   `json:"core_temp_c,omitzero"`     // hottest core
	AirTemp      units.Celsius   `json:"air_temp_c,omitzero"`      // air at the intake
	PackagePower units.Watt      `json:"package_power_w,omitzero"` // mean package power
	Clock        units.Megahertz `json:"clock_mhz,omitzero"`       // sustained clock under load
	Score        float64         `json:"score,omitzero"`           // work per time; higher is better
	Scores       []float64       `json:"scores,omitempty"`         // repeated scores, if more than one was taken
	ErrorsFound  int             `json:"errors_found,omitzero"`    // wrong results found
	CoverageGB   float64         `json:"coverage_gb,omitzero"`     // bytes checked by a memory check, all passes, 1e9 bytes
	DataRate     int             `json:"data_rate_mts,omitzero"`   // data rate that the system reports, MT/s
}

// Trial is one load run at one group of settings: the unit of evidence.
type Trial struct {
	N              int           `json:"n"`
	Stage          string        `json:"stage"`
	Load           Load          `json:"load"`
	Settings       Settings      `json:"settings"`
	PlannedMinutes units.Minutes `json:"planned_minutes"`
	Outcome        Outcome       `json:"outcome"`
	Minutes        units.Minutes `json:"minutes"`               // ran this long; for a failure, the time to failure; 0 with Outcome failed = at once or unknown
	TimeUnknown    bool          `json:"time_unknown,omitzero"` // failed somewhere within the planned time
	Readings       Readings      `json:"readings"`
	// Sources tells where readings came from that nobody typed, by field name.
	Sources map[string]string `json:"sources,omitempty"`
}

// Machine is what is known of the PC. Zero means "not known".
type Machine struct {
	Cores           int             `json:"core_count,omitzero"`
	StockRatio      units.Ratio     `json:"stock_ratio,omitzero"` // all-core turbo ratio as delivered
	StockCacheRatio units.Ratio     `json:"stock_cache_ratio,omitzero"`
	BaseClock       units.Megahertz `json:"base_clock_mhz,omitzero"`
	TempLimit       units.Celsius   `json:"temp_limit_c,omitzero"`
	Cooler          string          `json:"cooler,omitzero"`
	MemoryStandard  string          `json:"memory_standard,omitzero"` // ddr4 or ddr5
	MemoryModules   int             `json:"memory_modules,omitzero"`
	MemoryGB        float64         `json:"memory_gb,omitzero"`
	KitRate         int             `json:"kit_rate_mts,omitzero"` // rated data rate of the kit
	KitCL           int             `json:"kit_cl,omitzero"`
	KitTRCD         int             `json:"kit_trcd,omitzero"`
	KitTRP          int             `json:"kit_trp,omitzero"`
	KitTRAS         int             `json:"kit_tras,omitzero"`
	KitVoltage      units.Volt      `json:"kit_voltage_v,omitzero"`
	SustainedLimit  units.Watt      `json:"stock_sustained_limit_w,omitzero"`
	SupplyW         units.Watt      `json:"supply_w,omitzero"` // rating of the power supply
	Firmware        string          `json:"firmware_version,omitzero"`
}

// SettingNames returns the API names of all settings, in the order of Settings.
func SettingNames() []string {
	t := reflect.TypeFor[Settings]()
	names := make([]string, t.NumField())
	for i := range names {
		names[i], _, _ = strings.Cut(t.Field(i).Tag.Get("json"), ",")
	}
	return names
}

// Diff returns the API names of the settings in which a and b differ.
func Diff(a, b Settings) []string {
	var names []string
	va, vb := reflect.ValueOf(a), reflect.ValueOf(b)
	for i, name := range SettingNames() {
		if !va.Field(i).Equal(vb.Field(i)) {
			names = append(names, name)
		}
	}
	return names
}
