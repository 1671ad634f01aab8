package heat

import "belay/internal/units"

// Middle returns what the likeliest machine draws and how hot it gets at a
// point. It is a fraction of the work of Predict, for searches that look at
// many points. It reports false for a point that no machine runs at, or where
// the likeliest machine does not settle.
func (m Model) Middle(at Point) (units.Watt, units.Celsius, bool) {
	if checkPoint(at, 0.9) != nil {
		return 0, 0, false
	}
	s := m.mode.settle(at.drive(), 1)
	return units.Watt(s.power), units.Celsius(s.temp), !s.runaway
}

// Tau is the likeliest time constant of the warm-up, in minutes.
func (m Model) Tau() units.Minutes { return units.Minutes(m.mode.warmUp) }
