package trial

import "belay/internal/units"

// Interval is a prediction by its 5 %, 50 % and 95 % points.
type Interval [3]float64

// Expectation is what a proposal predicts for its trial.
type Expectation struct {
	LoadVoltage  Interval `json:"load_voltage_v"`
	CoreTemp     Interval `json:"core_temp_c"`
	PackagePower Interval `json:"package_power_w"`
}

// Proposal is the next trial of a search: what to set, what to run, what to
// expect and why.
type Proposal struct {
	Search          string        `json:"search"` // stock, power-cap, core, …
	Settings        Settings      `json:"settings"`
	Changed         []string      `json:"changed"` // names of the settings that differ from those in the firmware
	Load            Load          `json:"load"`
	Minutes         units.Minutes `json:"minutes"`
	Expect          *Expectation  `json:"expect,omitempty"`          // nil: not enough evidence to predict
	PassProbability float64       `json:"pass_probability,omitzero"` // 0: not known
	Because         string        `json:"because"`
	IfClean         string        `json:"if_clean"`
	IfFailed        string        `json:"if_failed"`
}

// Ending closes a search.
type Ending struct {
	Search  string   `json:"search"`
	Blocked bool     `json:"blocked,omitzero"` // ended for want of anything safe to try
	Keep    Settings `json:"keep"`
	Because string   `json:"because"`
}
