// Package safety holds the limits that Belay never passes: ceilings, vetoes
// with their reasons, and which hazard belongs to which setting.
//
// Limits live in code and platform files, wording lives in the flow files.
package safety

import (
	"slices"

	"belay/internal/units"
)

// Touch names a hazard that a step touches. Every step that touches one shows
// a caution that guards it.
type Touch string

const (
	SetCoreVoltage   Touch = "set-core-voltage"   // sets, raises or re-applies a core or cache voltage
	SetMemoryVoltage Touch = "set-memory-voltage" // sets, raises or re-applies a memory voltage
	LiftLimit        Touch = "lift-limit"         // removes or raises a power limit
	ReadVoltage      Touch = "read-voltage"       // asks for a voltage measured under load
	RunLoad          Touch = "run-load"           // runs a heavy load at a setting that is not proven
	OpenCase         Touch = "open-case"          // asks to look or work inside the case
	ClearSettings    Touch = "clear-settings"     // asks to clear the firmware settings
)

// Touches lists every hazard.
var Touches = []Touch{SetCoreVoltage, SetMemoryVoltage, LiftLimit, ReadVoltage, RunLoad, OpenCase, ClearSettings}

// fieldTouches says which hazard the asking for a field brings with it.
var fieldTouches = map[string]Touch{
	"set_voltage_v":     SetCoreVoltage,
	"offset_v":          SetCoreVoltage,
	"low_end_mv":        SetCoreVoltage,
	"load_line":         SetCoreVoltage,
	"voltage_mode":      SetCoreVoltage,
	"ratio":             SetCoreVoltage, // an automatic voltage rises with the ratio
	"cache_ratio":       SetCoreVoltage, // the same
	"dram_voltage_v":    SetMemoryVoltage,
	"memory_profile":    SetMemoryVoltage, // a profile brings its own voltage
	"sustained_limit_w": LiftLimit,
	"short_limit_w":     LiftLimit,
	"load_voltage_v":    ReadVoltage,
}

// TouchOf returns the hazard that asking for the field brings, or "".
func TouchOf(field string) Touch { return fieldTouches[field] }

// KnownTouch reports whether t is a hazard that Belay knows.
func KnownTouch(t Touch) bool { return slices.Contains(Touches, t) }

// Limits are the hard limits of a platform.
type Limits struct {
	CoreCeiling     units.Volt    `yaml:"core_ceiling_v"`      // load voltage under heavy load, daily
	SetAbove        units.Volt    `yaml:"set_above_ceiling_v"` // how far the set voltage may lie above the ceiling
	DDR4Ceiling     units.Volt    `yaml:"ddr4_ceiling_v"`      // memory voltage, daily
	DDR5Ceiling     units.Volt    `yaml:"ddr5_ceiling_v"`
	TempLimit       units.Celsius `yaml:"temp_limit_c"`       // hottest core, used when the PC's own limit is not known
	TempMargin      units.Celsius `yaml:"temp_margin_c"`      // trials stay this far below the PC's own limit
	PowerLimit      units.Watt    `yaml:"power_limit_w"`      // package power, used when the supply's rating is not known
	SupplyShare     float64       `yaml:"supply_share"`       // share of the supply's rating that the processor may draw
	RatioStep       units.Ratio   `yaml:"ratio_step"`         // most ratio steps up at once
	VoltStep        units.Volt    `yaml:"voltage_step_v"`     // most volts up at once
	CacheBelowCore  units.Ratio   `yaml:"cache_below_core"`   // cache ratio stays this far below the core ratio
	SoonMinutes     units.Minutes `yaml:"soon_minutes"`       // a crash within this time asks for a step back first
	LoadLineDroopMV float64       `yaml:"load_line_droop_mv"` // droop under all-core load above which another level is wiser
}
