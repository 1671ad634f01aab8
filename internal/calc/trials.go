package calc

import (
	"bytes"
	"fmt"
	"slices"

	"belay/internal/fault"
	"belay/internal/stability"
	"belay/internal/strictjson"
	"belay/internal/trial"
	"belay/internal/units"
)

// Trial is one trial as the need calculator takes it.
type Trial struct {
	Load           string   `json:"load"`
	Ratio          int      `json:"ratio"`
	LoadVoltage    float64  `json:"load_voltage_v"`
	CoreTemp       *float64 `json:"core_temp_c"`     // null: not read
	PlannedMinutes *float64 `json:"planned_minutes"` // null: as long as it ran
	Outcome        string   `json:"outcome"`
	Minutes        *float64 `json:"minutes"` // ran so long, or failed then; null: the plan, or unknown
}

// UnmarshalJSON reads an object and refuses unknown keys.
func (t *Trial) UnmarshalJSON(body []byte) error {
	type plain Trial
	return strictjson.Decode(body, (*plain)(t))
}

// ReadTrials reads JSON lines: one trial on each line, blank lines between
// them. It returns an Invalid fault that names the first line that cannot be
// read.
func ReadTrials(text []byte) ([]Trial, error) {
	var out []Trial
	for i, line := range bytes.Split(text, []byte("\n")) {
		line = bytes.TrimSpace(bytes.TrimPrefix(line, []byte("\ufeff")))
		if len(line) == 0 {
			continue
		}
		var t Trial
		if err := strictjson.Decode(line, &t); err != nil {
			return nil, fault.Newf(fault.Invalid, `Write one trial on each line, such as {"load":"scalar","ratio":49,"load_voltage_v":1.25,"planned_minutes":10,"outcome":"clean"}.`,
				"Line %d is not a trial.", i+1).Because(err)
		}
		out = append(out, t)
	}
	return out, nil
}

// Ranges of a trial of a desktop part. Ratio and minutes: chosen, far beyond
// what is done.
const (
	mostRatio   = 150
	mostMinutes = 60 * longestH
	mostTrials  = 1000
)

// observations reads the trials that say something about voltage, and checks
// all inputs.
func (c *checks) observations(n Need) []stability.Observation {
	c.within("target_h", "h", n.TargetH, 0.1, longestH)
	c.ratioVolt("keep", n.Keep)
	c.ratioVolt("delivered", n.Delivered)
	if n.Load != "" {
		c.load("load", n.Load)
	}
	if len(n.Trials) == 0 || len(n.Trials) > mostTrials {
		c.refuse("trials", "There are %d trials. Give 1 to %d.", len(n.Trials), mostTrials)
	}
	var out []stability.Observation
	for i, t := range n.Trials {
		before := len(c.wrong)
		c.trial(fmt.Sprintf("trials.%d.", i), t)
		if len(c.wrong) > before {
			continue
		}
		if o, ok := stability.FromTrial(t.trial()); ok {
			out = append(out, o)
		}
	}
	return out
}

func (c *checks) ratioVolt(key string, k *RatioVolt) {
	if k != nil {
		c.within(key+".ratio", "×", float64(k.Ratio), 1, mostRatio)
		c.within(key+".load_voltage_v", "V", k.Voltage, leastVolt, mostVolt)
	}
}

func (c *checks) load(key, load string) {
	if !slices.Contains(trial.Loads, trial.Load(load)) {
		c.refuse(key, "There is no load %q. There are: %v.", load, trial.Loads)
	}
}

func (c *checks) trial(at string, t Trial) {
	if t.Load != "" {
		c.load(at+"load", t.Load)
	}
	c.within(at+"ratio", "×", float64(t.Ratio), 1, mostRatio)
	c.within(at+"load_voltage_v", "V", t.LoadVoltage, leastVolt, mostVolt)
	if t.CoreTemp != nil {
		c.within(at+"core_temp_c", "°C", *t.CoreTemp, -20, 125)
	}
	if t.PlannedMinutes != nil {
		c.within(at+"planned_minutes", "min", *t.PlannedMinutes, 1e-3, mostMinutes)
	}
	if t.Minutes != nil {
		c.within(at+"minutes", "min", *t.Minutes, 0, mostMinutes)
	}
	o := trial.Outcome(t.Outcome)
	switch {
	case !slices.Contains(trial.Outcomes, o):
		c.refuse(at+"outcome", "There is no outcome %q. There are: %v.", t.Outcome, trial.Outcomes)
	case t.PlannedMinutes == nil && t.Minutes == nil && o != trial.NoBoot && o != trial.Stopped:
		c.refuse(at+"planned_minutes", "Say how long the trial was planned for, or how long it ran.")
	case t.PlannedMinutes != nil && t.Minutes != nil && o.Failed() && *t.Minutes > *t.PlannedMinutes*1.5+1:
		c.refuse(at+"minutes", "The failure came after %s, but the trial was planned for %s.", amount("min", *t.Minutes), amount("min", *t.PlannedMinutes))
	}
}

// trial is t in the shared words.
func (t Trial) trial() trial.Trial {
	out := trial.Trial{
		Load: trial.Load(t.Load), Settings: trial.Settings{Ratio: units.Ratio(t.Ratio)}, Outcome: trial.Outcome(t.Outcome),
		Readings: trial.Readings{LoadVoltage: units.Volt(t.LoadVoltage)},
	}
	if t.Load == "" {
		out.Load = trial.Scalar
	}
	if t.CoreTemp != nil {
		out.Readings.CoreTemp = units.Celsius(*t.CoreTemp)
	}
	if t.Minutes != nil {
		out.Minutes = units.Minutes(*t.Minutes)
		out.PlannedMinutes = out.Minutes
	}
	if t.PlannedMinutes != nil {
		out.PlannedMinutes = units.Minutes(*t.PlannedMinutes)
	}
	out.TimeUnknown = t.Minutes == nil && out.Outcome.Failed()
	return out
}
