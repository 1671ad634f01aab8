package safety

import (
	"fmt"

	"belay/internal/trial"
	"belay/internal/units"
)

// Rule names a limit.
type Rule string

const (
	Ceiling  Rule = "ceiling"       // predicted load voltage above the ceiling
	SetAbove Rule = "set-voltage"   // set voltage too far above the ceiling
	Memory   Rule = "memory"        // memory voltage above its ceiling
	Cache    Rule = "cache"         // cache ratio too near the core ratio
	Heat     Rule = "temperature"   // predicted temperature above the limit
	Power    Rule = "power"         // predicted power above the limit
	Step     Rule = "step"          // too large a step above what was held
	HotAgain Rule = "hot-again"     // at or above a setting that failed from heat
	BackOff  Rule = "step-back"     // a crash at once asks for a step back first
	Unknown  Rule = "unpredictable" // a step up whose heat cannot be predicted
)

// Veto is a limit that a setting would pass, with the reason for a person.
type Veto struct {
	Rule   Rule
	Field  string // setting at fault, by its API name
	Reason string
}

// Candidate is a setting that might be tried.
type Candidate struct {
	Settings trial.Settings
	Load     trial.Load
	Expect   *trial.Expectation // nil: cannot be predicted
	// Highest is the upper end of the load voltage itself, where the load line
	// is known; 0: the expectation stands for it, with the meter's scatter.
	Highest units.Volt
}

// For returns the limits as they hold for this PC: its own temperature limit,
// its power supply and its memory standard.
func (l Limits) For(m trial.Machine) Limits {
	if m.TempLimit > 0 {
		l.TempLimit = m.TempLimit
	}
	l.TempLimit -= l.TempMargin
	l.TempMargin = 0
	if m.SupplyW > 0 {
		l.PowerLimit = min(l.PowerLimit, units.Watt(l.SupplyShare*float64(m.SupplyW)))
	}
	return l
}

// DRAMCeiling returns the highest daily memory voltage of a standard; the
// lower of the two where the standard is not known.
func (l Limits) DRAMCeiling(standard string) units.Volt {
	switch standard {
	case "ddr4":
		return l.DDR4Ceiling
	case "ddr5":
		return l.DDR5Ceiling
	}
	return min(l.DDR4Ceiling, l.DDR5Ceiling)
}

// SetCeiling returns the highest set voltage.
func (l Limits) SetCeiling() units.Volt { return l.CoreCeiling + l.SetAbove }

// Hard returns the limits that settings themselves pass, whatever they would
// draw. There is no way to confirm past one.
func (l Limits) Hard(s trial.Settings, standard string) []Veto {
	var v []Veto
	if s.SetVoltage > l.SetCeiling()+1e-9 {
		v = append(v, Veto{SetAbove, "set_voltage_v", fmt.Sprintf(
			"%v is above the highest set voltage for this processor family, %v.", s.SetVoltage, l.SetCeiling())})
	}
	if c := l.DRAMCeiling(standard); s.DRAMVoltage > c+1e-9 {
		v = append(v, Veto{Memory, "dram_voltage_v", fmt.Sprintf(
			"%v is above the highest daily memory voltage, %v.", s.DRAMVoltage, c)})
	}
	if s.CacheRatio > 0 && s.Ratio > 0 && s.CacheRatio > s.Ratio-l.CacheBelowCore {
		v = append(v, Veto{Cache, "cache_ratio", fmt.Sprintf(
			"The cache ratio stays at least %d below the core ratio, so at most %d.", l.CacheBelowCore, s.Ratio-l.CacheBelowCore)})
	}
	return v
}

// Vet returns every limit that the candidate would pass, given all trials so
// far in order. No veto means that it may be tried.
func (l Limits) Vet(c Candidate, standard string, history []trial.Trial) []Veto {
	v := l.Hard(c.Settings, standard)
	if !ranCool(c, history) {
		v = append(v, l.predicted(c)...)
	}
	v = append(v, l.stepTooLarge(c, history)...)
	v = append(v, hotAgain(c, history)...)
	return append(v, l.stepBack(c, history)...)
}

func (l Limits) predicted(c Candidate) []Veto {
	if c.Expect == nil {
		return nil
	}
	var v []Veto
	x := c.Highest
	if x == 0 {
		x = units.Volt(c.Expect.LoadVoltage[2])
	}
	if x > l.CoreCeiling+1e-9 {
		v = append(v, Veto{Ceiling, "set_voltage_v", fmt.Sprintf(
			"The load voltage could reach %v, above the ceiling of %v.", x, l.CoreCeiling)})
	}
	if t := units.Celsius(c.Expect.CoreTemp[2]); t > l.TempLimit {
		v = append(v, Veto{Heat, "core_temp_c", fmt.Sprintf(
			"The hottest core could reach %v, above the limit of %v.", t, l.TempLimit)})
	}
	if p := units.Watt(c.Expect.PackagePower[2]); p > l.PowerLimit {
		v = append(v, Veto{Power, "package_power_w", fmt.Sprintf(
			"The package could draw %v, above the limit of %v.", p, l.PowerLimit)})
	}
	return v
}

// warmMinutes is how long a clean run has to last to show that its heat is
// held for hours. Chosen: some cooler and case take half an hour to warm up.
const warmMinutes units.Minutes = 30

// ranCool reports whether a clean trial of at least warmMinutes asked at least as much of cooling and
// supply: a heavier or the same load, at no lower ratio and voltage, under no
// lower power cap. A measurement is worth more than a prediction.
func ranCool(c Candidate, history []trial.Trial) bool {
	for _, t := range history {
		s := t.Settings
		if t.Outcome != trial.Clean || t.Minutes < warmMinutes || heavier[t.Load] < heavier[c.Load] || capped(s, c.Settings) {
			continue
		}
		automatic := (s.SetVoltage == 0) == (c.Settings.SetVoltage == 0) && (s.Ratio == 0) == (c.Settings.Ratio == 0)
		if automatic && effective(s, t.Load) >= effective(c.Settings, c.Load) && s.SetVoltage >= c.Settings.SetVoltage &&
			s.VoltageMode == c.Settings.VoltageMode && s.LoadLine == c.Settings.LoadLine {
			return true
		}
	}
	return false
}

// Held returns the highest ratio that ran clean and the highest set voltage
// that ran without heat trouble, over all trials; 0 where there is none.
func Held(history []trial.Trial) (units.Ratio, units.Volt) {
	var ratio units.Ratio
	var volt units.Volt
	for _, t := range history {
		if t.Outcome == trial.Clean {
			ratio = max(ratio, t.Settings.Ratio)
		}
		if t.Outcome == trial.Clean || t.Outcome.Failed() && t.Outcome != trial.NoBoot {
			volt = max(volt, t.Settings.SetVoltage)
		}
	}
	return ratio, volt
}

func (l Limits) stepTooLarge(c Candidate, history []trial.Trial) []Veto {
	ratio, volt := Held(history)
	var v []Veto
	if ratio > 0 && c.Settings.Ratio > ratio+l.RatioStep {
		v = append(v, Veto{Step, "ratio", fmt.Sprintf(
			"%v is more than %d above the highest ratio that held, %v.", c.Settings.Ratio, l.RatioStep, ratio)})
	}
	if volt > 0 && c.Settings.SetVoltage > volt+l.VoltStep+1e-9 {
		v = append(v, Veto{Step, "set_voltage_v", fmt.Sprintf(
			"%v is more than %v above the highest voltage used so far, %v.", c.Settings.SetVoltage, l.VoltStep, volt)})
	}
	if (ratio > 0 && c.Settings.Ratio > ratio || volt > 0 && c.Settings.SetVoltage > volt+1e-9) && c.Expect == nil {
		v = append(v, Veto{Unknown, "core_temp_c", "Heat at this setting cannot be predicted yet. Measure a lower one first."})
	}
	return v
}

// heavier orders the loads by the heat that they make.
var heavier = map[trial.Load]int{
	trial.Bursty: 0, trial.Memory: 1, trial.Cache: 2, trial.Scalar: 3, trial.Mixed: 4, trial.WideVector: 5,
}

// effective returns the ratio that the processor runs under the load.
func effective(s trial.Settings, load trial.Load) units.Ratio {
	if load == trial.WideVector || load == trial.Mixed {
		return s.Ratio - units.Ratio(s.WideVectorOffset)
	}
	return s.Ratio
}

// coolerShare is the share of the power of a trial that heat ended below which
// another setting counts as cooler. Chosen: well outside the error of a power
// reading.
const coolerShare = 0.93

// hotAgain refuses what is at least as fast, at least as high in voltage and
// under at least as heavy a load as a trial that heat ended, unless the power
// cap is lower now.
func hotAgain(c Candidate, history []trial.Trial) []Veto {
	for _, t := range history {
		s := t.Settings
		if !t.Outcome.Hot() || heavier[c.Load] < heavier[t.Load] || capped(c.Settings, s) {
			continue
		}
		if s.SetVoltage == 0 && c.Settings.SetVoltage > 0 {
			// Automatic voltage: only what was drawn can be compared.
			if c.Expect != nil && c.Expect.PackagePower[1] < coolerShare*float64(t.Readings.PackagePower) {
				continue
			}
			return []Veto{{HotAgain, "set_voltage_v", fmt.Sprintf(
				"Trial %d ran too hot with automatic voltage. This would draw about as much.", t.N)}}
		}
		if effective(c.Settings, c.Load) >= effective(s, t.Load) && c.Settings.SetVoltage >= s.SetVoltage {
			return []Veto{{HotAgain, "set_voltage_v", fmt.Sprintf(
				"Trial %d ran too hot at ratio %v and %v. This would be at least as hot.", t.N, s.Ratio, s.SetVoltage)}}
		}
	}
	return nil
}

// capped reports whether c holds the power down further than s did.
func capped(c, s trial.Settings) bool {
	return c.SustainedLimit > 0 && (s.SustainedLimit == 0 || c.SustainedLimit < s.SustainedLimit)
}

// stepBack refuses to go on as before when the newest trial of this load
// crashed at once.
func (l Limits) stepBack(c Candidate, history []trial.Trial) []Veto {
	for i := len(history) - 1; i >= 0; i-- {
		t := history[i]
		if t.Load != c.Load || t.Outcome == trial.Stopped {
			continue
		}
		atOnce := t.Outcome == trial.NoBoot || t.Outcome.Crash() && !t.TimeUnknown && t.Minutes <= l.SoonMinutes
		if atOnce && !gentler(c.Settings, t.Settings) {
			return []Veto{{BackOff, "ratio", fmt.Sprintf(
				"Trial %d went down at once. The next setting has to be a step back from it.", t.N)}}
		}
		return nil
	}
	return nil
}

// gentler reports whether c asks less of the machine than s in at least one
// of the things that are tuned.
func gentler(c, s trial.Settings) bool {
	return c.Ratio < s.Ratio || c.CacheRatio < s.CacheRatio || c.WideVectorOffset > s.WideVectorOffset ||
		c.DataRate < s.DataRate || c.CL > s.CL || c.TRCD > s.TRCD || c.TRP > s.TRP || c.TRAS > s.TRAS ||
		c.LowEndMV > s.LowEndMV || s.MemoryProfile == "on" && c.MemoryProfile != "on" ||
		c.VoltageMode == "static" && s.VoltageMode != "static"
}
