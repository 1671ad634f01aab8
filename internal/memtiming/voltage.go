package memtiming

import (
	"fmt"

	"belay/internal/fault"
	"belay/internal/units"
)

// Voltages holds the memory voltages of a standard.
type Voltages struct {
	Nominal     units.Volt // the standard's supply
	Low, High   units.Volt // its tolerance
	Customary   units.Volt // first step when tuning: common practice, no source
	AbsoluteMax units.Volt // stress rating of the chips, not a setting to run at
}

// Source: JESD79-4 (supply and tolerance read in data sheets, maximum from
// memory) and JESD79-5 (supply read in a module listing, maximum from memory).
var voltages = map[Standard]Voltages{
	DDR4: {Nominal: 1.2, Low: 1.14, High: 1.26, Customary: 1.45, AbsoluteMax: 1.5},
	DDR5: {Nominal: 1.1, Low: 1.067, High: 1.166, Customary: 1.35, AbsoluteMax: 1.4},
}

// VoltagesOf returns the voltages of a standard, or an Invalid fault.
func VoltagesOf(std Standard) (Voltages, error) {
	v, ok := voltages[std]
	if !ok {
		return Voltages{}, fault.Newf(fault.Invalid, "Choose ddr4 or ddr5.", "The memory standard %q is not known.", std)
	}
	return v, nil
}

// VoltageBand says where a memory voltage lies.
type VoltageBand string

// The bands, from low to high.
const (
	UnderStandard VoltageBand = "under-standard" // below the standard's tolerance
	InStandard    VoltageBand = "in-standard"
	InKitRating   VoltageBand = "in-kit-rating" // above the standard, within what the kit is rated for
	InCustom      VoltageBand = "in-custom"     // above the kit, within the customary step
	AboveCustom   VoltageBand = "above-custom"
	Stress        VoltageBand = "stress" // above the absolute maximum: never
)

// JudgeVoltage places a voltage and says so. kit is the kit's rated voltage, 0
// if not known. It returns an Invalid fault for an unknown standard or a
// voltage outside 0.8 to 2 V.
func JudgeVoltage(std Standard, v, kit units.Volt) (VoltageBand, string, error) {
	limits, err := VoltagesOf(std)
	if err != nil {
		return "", "", err
	}
	if !(v >= 0.8 && v <= 2) {
		return "", "", fault.New(fault.Invalid, "The memory voltage must lie between 0.8 and 2 V.", "Check the value.")
	}
	switch {
	case v > limits.AbsoluteMax:
		return Stress, fmt.Sprintf("%v is above the chips' absolute maximum of %v. Do not set it.", v, limits.AbsoluteMax), nil
	case v < limits.Low:
		return UnderStandard, fmt.Sprintf("%v is below the standard's %v. The PC may not start.", v, limits.Low), nil
	case v <= limits.High:
		return InStandard, fmt.Sprintf("%v is within the standard.", v), nil
	case v <= kit:
		return InKitRating, fmt.Sprintf("%v is above the standard and within what the kit is rated for.", v), nil
	case v <= limits.Customary:
		return InCustom, fmt.Sprintf("%v is above the %s and within the customary step of %v. Watch the module temperature.",
			v, ratedBy(kit), limits.Customary), nil
	}
	return AboveCustom, fmt.Sprintf("%v is above the customary step of %v and near the absolute maximum of %v. Stay below for daily use.",
		v, limits.Customary, limits.AbsoluteMax), nil
}

func ratedBy(kit units.Volt) string {
	if kit > 0 {
		return "kit's rating"
	}
	return "standard"
}
