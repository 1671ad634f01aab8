package calc

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"belay/internal/fault"
	"belay/internal/units"
)

// checks collects the inputs that cannot be used.
type checks struct{ wrong []fault.Field }

func (c *checks) refuse(field, format string, args ...any) {
	c.wrong = append(c.wrong, fault.Field{Field: field, Message: fmt.Sprintf(format, args...)})
}

// fault returns an Invalid fault if anything was refused.
func (c *checks) fault() error {
	if len(c.wrong) == 0 {
		return nil
	}
	f := fault.New(fault.Invalid, "An input cannot be used.", "Correct the inputs that are named.")
	f.Fields = c.wrong
	return f
}

// within refuses a number outside low to high, and offers the value that a
// slipped unit would explain. It reports whether the number can be used.
func (c *checks) within(field, unit string, v, low, high float64) bool {
	if v >= low && v <= high {
		return true
	}
	offer := ""
	s, slipped := units.SlipOf(unit, v, low, high)
	if slipped {
		offer = fmt.Sprintf(" If you mean %s%s use %s.", amount(s.Unit, v), s.Note, amount(unit, s.Value))
	}
	c.refuse(field, "%s is not within %s to %s.%s", amount(unit, v), amount(unit, low), amount(unit, high), offer)
	if slipped {
		c.wrong[len(c.wrong)-1].Suggest = s.Value
	}
	return false
}

// amount prints a number as it was given, with its unit. Shares have none.
func amount(unit string, v float64) string {
	n := strconv.FormatFloat(v, 'g', 12, 64)
	if a := math.Abs(v); a == 0 || a >= 1e-4 && a < 1e12 {
		n = strings.TrimSuffix(strings.TrimRight(strconv.FormatFloat(v, 'f', 9, 64), "0"), ".")
	}
	switch unit {
	case "share", "":
		return n
	case "%", "×":
		return n + unit
	}
	return n + " " + unit
}

// digits prints a number with three significant digits.
func digits(v float64) string {
	return strconv.FormatFloat(v, 'f', max(0, 2-int(math.Floor(math.Log10(math.Max(math.Abs(v), 1e-9))))), 64)
}

// share prints a probability or a confidence in percent.
func share(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e6)/1e4, 'f', -1, 64) + " %"
}

// orNone makes a list that marshals to [] when it is empty.
func orNone(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}
