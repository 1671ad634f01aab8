package planner

import (
	"fmt"
	"math"

	"belay/internal/heat"
	"belay/internal/trial"
	"belay/internal/units"
)

// liftedLimit is what a firmware usually takes as "no limit", in W. Common
// practice, no source: the largest value of the field.
const liftedLimit units.Watt = 4095

// stock measures the PC as delivered.
func stock(s *search) (*trial.Proposal, *trial.Ending) {
	if t := last(s.mine()); t != nil && t.Outcome == trial.Clean {
		return nil, s.keep(trial.Settings{}, "The PC runs clean as delivered. All gains are counted from here.")
	}
	return &trial.Proposal{
		Load: trial.Scalar, Minutes: measureMinutes,
		Because:  "Nothing can be judged without knowing what the PC does now.",
		IfClean:  "These readings become your first baseline.",
		IfFailed: "A PC that fails as delivered needs repair, not tuning.",
	}, nil
}

// powerCap lifts the sustained power limit, or finds the cap that the cooler
// holds.
func powerCap(s *search) (*trial.Proposal, *trial.Ending) {
	settings := s.base()
	settings.SustainedLimit = liftedLimit
	mine := s.mine()
	t := last(mine)
	switch {
	case t == nil:
		return &trial.Proposal{
			Settings: settings, Load: trial.Scalar, Minutes: measureMinutes,
			Because:  "The sustained limit may hold the clock down. Lifting it shows what the processor does by itself.",
			IfClean:  "These readings become your second baseline.",
			IfFailed: "If it runs too hot, a limit is computed that your cooler can hold.",
		}, nil
	case t.Outcome == trial.Clean:
		return nil, s.keep(t.Settings, "The PC ran clean with this limit.")
	}
	hot := 0
	for _, x := range mine {
		if x.Outcome.Hot() {
			hot++
		}
	}
	if !t.Outcome.Hot() || hot > 3 {
		return nil, s.keep(s.base(), "The limit stays as delivered, since the PC did not run clean without it.")
	}
	hold, err := s.belief.heat.Hold(s.Limits.TempLimit, s.belief.air, predictLevel)
	limit := hold.Cap
	if err != nil || limit <= 0 {
		return nil, s.keep(s.base(), "The cooler holds no more than the delivered limit.")
	}
	if was := t.Settings.SustainedLimit; limit >= was { // it was too hot there already
		limit = units.Watt(math.Floor(0.9*float64(was)/5) * 5)
	}
	settings.SustainedLimit = limit
	return &trial.Proposal{
		Settings: settings, Load: trial.Scalar, Minutes: measureMinutes,
		Because:  fmt.Sprintf("From your readings the cooler holds about %v at the temperature limit.", limit),
		IfClean:  "This limit stays, and these readings become your second baseline.",
		IfFailed: "The limit is lowered further.",
	}, nil
}

// voltageMode sets a static voltage and measures the load line.
func voltageMode(s *search) (*trial.Proposal, *trial.Ending) {
	settings := s.base()
	settings.VoltageMode, settings.Ratio = "static", s.Machine.StockRatio
	if settings.Ratio == 0 {
		return nil, s.blocked("The stock ratio is not known, so there is nothing to start from.")
	}
	settings = s.firstStatic(settings)
	t := last(s.mine())
	if t != nil && t.Outcome.Failed() {
		settings.SetVoltage = up(t.Settings.SetVoltage, s.Limits.VoltStep)
	}
	droop, over := Droop(s.LoadLine)
	sound := droop <= s.Limits.LoadLineDroopMV && over <= float64(MeterSlack)*1000
	if t != nil && t.Outcome == trial.Clean && (sound || s.Levels >= 3) {
		because := "The load line is measured, so that a load voltage can be turned into a set voltage."
		if !sound {
			because = "No level that you tried was better. The load line is measured as it is."
		}
		return nil, s.keep(t.Settings, because)
	}
	if t != nil {
		settings.LoadLine = t.Settings.LoadLine
	}
	return &trial.Proposal{
		Settings: settings, Load: trial.Scalar, Minutes: screenMinutes,
		Because:  "A static voltage makes trials comparable. It starts a little above what your PC used as delivered.",
		IfClean:  "The droop is known, and the search for ratio and voltage begins.",
		IfFailed: "The next static voltage is higher.",
	}, nil
}

// mostStepsDown is how many ratios below the delivered one the first static
// setting may lie. Chosen: further down something else is wrong.
const mostStepsDown = 8

// firstStatic fills in ratio and voltage of the first static setting: the
// delivered ratio, if it is safe and no cap holds it down. A PC that runs hot
// as delivered begins with less voltage, and then with a lower ratio.
func (s *search) firstStatic(x trial.Settings) trial.Settings {
	start := s.staticStart()
	first := x
	first.SetVoltage = start
	for ; x.Ratio > s.Machine.StockRatio-mostStepsDown && x.Ratio > 0; x.Ratio-- {
		for v := start; v > start-firstCut; v -= 2 * voltGrid {
			x.SetVoltage = grid(v)
			if v < start && s.belief.need != nil && s.belief.pass(x, trial.Scalar, screenMinutes) < firstPass {
				break
			}
			if s.safe(x, trial.Scalar) && s.belief.fits(x, trial.Scalar) {
				return x
			}
		}
	}
	return first
}

// firstCut is how far below the usual start the first static voltage is looked
// for, V, and firstPass the least chance to pass there. Chosen: the delivered
// voltage has a reserve of a tenth, and the first static trial is to hold.
const (
	firstCut  = 0.200
	firstPass = 0.85
)

// staticStart is the first static voltage: the load voltage as delivered plus
// the expected droop, low enough that no usual load line passes the ceiling.
func (s *search) staticStart() units.Volt {
	want := s.belief.stock
	if want == 0 {
		want = 1.20 // V, chosen: low in the usual range, where no reading was taken
	}
	power := units.Watt(200)
	if p, err := s.belief.heat.Predict(heat.Point{
		Load: trial.Scalar, Voltage: want, Clock: units.Megahertz(s.Machine.StockRatio) * s.belief.base, AirTemp: s.belief.air,
	}, predictLevel); err == nil {
		power = units.Watt(p.Power.Mid)
	}
	set := want + 0.05
	if x, err := s.belief.line.SetFor(want, power, predictLevel); err == nil {
		set = units.Volt(x.Mid)
	}
	set = max(min(set, want+firstRaise), want)
	return min(grid(set), up(s.Limits.CoreCeiling-MeterSlack, 0))
}

// firstRaise is how far the first static voltage may lie above the load
// voltage as delivered, in V. Chosen: twice the largest step, since the load
// line is not known yet.
const firstRaise = 0.05

// voltGrid is the step of proposed voltages. Chosen: what most firmware takes,
// and half of a meter's error.
const voltGrid = 0.005

// grid rounds up to the step of proposed voltages.
func grid(v units.Volt) units.Volt {
	return units.Volt(math.Round(math.Ceil(float64(v)/voltGrid-1e-6)*voltGrid*1e4) / 1e4)
}

// up raises a voltage by at most step, on the grid.
func up(v, step units.Volt) units.Volt {
	return units.Volt(math.Round(math.Floor(float64(v+step)/voltGrid+1e-6)*voltGrid*1e4) / 1e4)
}
