package loadline

import (
	"math"

	"belay/internal/units"
)

// Shown returns the load voltage that the meter is to show at a set voltage
// while the package draws power: the middle of LoadAt, without its interval.
// It reports false where no voltage carries that power.
func (l Line) Shown(set units.Volt, power units.Watt) (units.Volt, bool) {
	if _, err := checkPoint("set", set, power, 0.9); err != nil {
		return 0, false
	}
	v, ok := l.solve(set, power)
	return units.Volt(v), ok
}

// Real returns the load voltage itself, the error of the meter left out: the
// set voltage is exact, so the droop alone is unsure. The interval is
// two-sided, of the given level. Faults as LoadAt.
func (l Line) Real(set units.Volt, power units.Watt, level float64) (Interval, error) {
	bare := l
	bare.offset = 0
	v, err := bare.LoadAt(set, power, level)
	if err != nil {
		return v, err
	}
	z, err := quantile(level)
	if err != nil {
		return v, err
	}
	i := float64(power) / v.Mid
	slope := 1 - l.r*i/v.Mid
	return around(v.Mid, (i*i*l.varR+l.powerVar(i))/(slope*slope), math.Abs(z)), nil
}
