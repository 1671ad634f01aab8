package flow

// Facts are what a branch condition may ask about the session, under "fact".
// They are always defined; a count is 0 and a text "" before anything is known.
type Facts struct {
	TrialsHere     int     `expr:"trials_here"`     // trials so far in this stage
	FailuresInRow  int     `expr:"failures_in_row"` // failed or hot trials in a row in this stage
	CrashesInRow   int     `expr:"crashes_in_row"`  // freezes, resets and failed boots in a row in this stage
	CapInForce     bool    `expr:"cap_in_force"`    // the sustained power cap held the clock down at the baseline
	Overshoot      bool    `expr:"overshoot"`       // load voltage above the set voltage by more than a meter explains
	DroopTooLarge  bool    `expr:"droop_too_large"` // the load line gives away more than is wise
	LoadLineTries  int     `expr:"load_line_tries"` // load-line levels measured so far
	RateAsSet      bool    `expr:"rate_as_set"`     // the system reports the data rate that was set
	Gain           float64 `expr:"gain_percent"`    // score of the last clean trial over the baseline of this stage, %
	GainMeasurable bool    `expr:"gain_measurable"` // that gain stands out of the noise
	Suspect        string  `expr:"suspect"`         // stage that the last failure most likely belongs to
	HasKit         bool    `expr:"has_kit"`         // the memory kit is rated above the standard's speed
	Practice       bool    `expr:"practice"`        // a simulated PC answers
}

// Plan is what a branch condition may ask about the search of this state,
// under "plan".
type Plan struct {
	Proposed bool `expr:"proposed"` // there is a next trial
	Done     bool `expr:"done"`     // the search has ended with a setting to keep
	Blocked  bool `expr:"blocked"`  // nothing safe is left to try
}
