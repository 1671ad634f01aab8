package loadline

import (
	"fmt"

	"belay/internal/fault"
	"belay/internal/units"
)

// Mode is a way to enter a core voltage in the firmware.
type Mode string

// The modes, as the settings name them.
const (
	Static   Mode = "static"   // one voltage at every clock
	Adaptive Mode = "adaptive" // a target at the top ratio, the stock curve below
	Offset   Mode = "offset"   // the stock curve plus a constant
)

// Entry is a voltage entered in one mode: the voltage itself for static, the
// target for adaptive, the difference from stock for offset.
type Entry struct {
	Mode  Mode
	Value units.Volt
}

// Converted is the same voltage in another mode.
type Converted struct {
	Entry
	At       units.Volt // the voltage that both give at the top ratio, before any load line
	Warnings []string
}

// wideOffset is an offset that a person is warned of. Chosen: twice the usual
// span of tuning.
const wideOffset = 0.150 // V

// Convert restates an entry in another mode so that the voltage at the top
// ratio stays the same. stock is the stock voltage at that ratio, see Curve.
// It returns an Invalid fault for an unknown mode or a voltage out of range.
func Convert(from Entry, to Mode, stock units.Volt) (Converted, error) {
	at, err := from.voltage(stock)
	if err != nil {
		return Converted{}, err
	}
	c := Converted{Entry: Entry{Mode: to, Value: at}, At: at}
	switch to {
	case Static:
		if from.Mode != Static {
			c.Warnings = append(c.Warnings, "A static voltage stays up when the machine idles. Use it for testing.")
		}
	case Adaptive:
		if at < stock {
			c.Warnings = append(c.Warnings, fmt.Sprintf(
				"The target lies below the stock voltage of %v at this ratio. Many boards ignore it; use a negative offset.", stock))
		}
	case Offset:
		c.Value = at - stock
		if c.Value < 0 {
			c.Warnings = append(c.Warnings, "The offset lowers light loads as well. Prove it with idle and burst trials.")
		}
		if c.Value > wideOffset || c.Value < -wideOffset {
			c.Warnings = append(c.Warnings, fmt.Sprintf("The offset is large, and acts at every clock. Check the stock voltage of %v.", stock))
		}
	default:
		return Converted{}, unknownMode(to)
	}
	return c, nil
}

func (e Entry) voltage(stock units.Volt) (units.Volt, error) {
	at := e.Value
	switch e.Mode {
	case Static, Adaptive:
	case Offset:
		at += stock
	default:
		return 0, unknownMode(e.Mode)
	}
	if !(stock >= 0.3 && stock <= 2 && at >= 0.3 && at <= 2) {
		return 0, fault.New(fault.Invalid, "The voltage must lie between 0.3 and 2 V.", "Check the stock voltage and the value entered.")
	}
	return at, nil
}

func unknownMode(m Mode) error {
	return fault.Newf(fault.Invalid, "Choose static, adaptive or offset.", "The voltage mode %q is not known.", m)
}
