package event

import (
	"encoding/json"

	"belay/internal/trial"
	"belay/internal/units"
)

// Every kind of event, with its decoder.
var kinds = map[Kind]func(json.RawMessage) (Payload, error){
	"session_started":    decodeAs[SessionStarted],
	"session_renamed":    decodeAs[SessionRenamed],
	"answered":           decodeAs[Answered],
	"answer_taken_back":  decodeAs[AnswerTakenBack],
	"moved":              decodeAs[Moved],
	"trial_proposed":     decodeAs[TrialProposed],
	"search_ended":       decodeAs[SearchEnded],
	"settings_confirmed": decodeAs[SettingsConfirmed],
	"restart_intended":   decodeAs[RestartIntended],
	"trial_started":      decodeAs[TrialStarted],
	"trial_found":        decodeAs[TrialFound],
	"trial_ended":        decodeAs[TrialEnded],
	"machine_read":       decodeAs[MachineRead],
	"readings_attached":  decodeAs[ReadingsAttached],
}

// SessionStarted opens every log. The flow is kept by the hash of its files.
type SessionStarted struct {
	Title    string    `json:"title"`
	Flow     string    `json:"flow"`
	FlowHash string    `json:"flow_hash"`
	Practice *Practice `json:"practice,omitempty"` // nil: a real PC
}

// Practice names the simulated PC of a practice session.
type Practice struct {
	Seed    uint64 `json:"seed"`
	Variant string `json:"variant"`
}

// SessionRenamed gives the session another title.
type SessionRenamed struct {
	Title string `json:"title"`
}

// Answered is one answer of the person, or of the simulated PC for them.
type Answered struct {
	Prompt string       `json:"prompt"`
	State  string       `json:"state"`
	Action string       `json:"action"`
	Values trial.Values `json:"values,omitempty"`
	Key    string       `json:"key,omitempty"` // idempotency key of the request
	By     string       `json:"by,omitempty"`  // "" the person, "practice" the simulated PC
	// Confirmed names fields whose odd values the person insisted on.
	Confirmed []string `json:"confirmed,omitempty"`
}

// AnswerTakenBack undoes the Answered event with this version and all that
// followed from it.
type AnswerTakenBack struct {
	Version int64  `json:"version"`
	Key     string `json:"key,omitempty"`
}

// Moved is one step of the flow. Via is the action, or "auto".
type Moved struct {
	From string `json:"from"`
	To   string `json:"to"`
	Via  string `json:"via"`
}

// TrialProposed is the next trial of a search, as it was computed then.
type TrialProposed struct {
	trial.Proposal
}

// SearchEnded closes a search with the settings to keep.
type SearchEnded struct {
	trial.Ending
}

// SettingsConfirmed says what is now in the firmware, as the person read it
// there.
type SettingsConfirmed struct {
	Settings trial.Settings `json:"settings"`
}

// RestartIntended is what a step in which the PC restarts is about to change,
// committed before the step is shown: the PC may not come up again.
type RestartIntended struct {
	State  string          `json:"state"`
	From   trial.Settings  `json:"from"`         // what was in the firmware before
	To     *trial.Settings `json:"to,omitempty"` // what the step enters; nil when it enters nothing new
	Expect string          `json:"expect,omitempty"`
}

// TrialStarted is the intent, committed before the load starts.
type TrialStarted struct {
	N       int           `json:"n"`
	Load    trial.Load    `json:"load"`
	Minutes units.Minutes `json:"minutes"`
	BootID  string        `json:"boot_id,omitempty"`
}

// TrialFound is what Belay itself found out about the trial that was started:
// from its own load, or after a crash. It fills in the report beforehand; what
// the person then reports counts.
type TrialFound struct {
	N         int          `json:"n"`
	From      string       `json:"from"` // "load" or "crash"
	Values    trial.Values `json:"values,omitempty"`
	Says      string       `json:"says"`                // one or two sentences
	Certainty string       `json:"certainty,omitempty"` // certain, likely or unknown; "" for a measurement
	Evidence  []string     `json:"evidence,omitempty"`
}

// TrialEnded is one piece of evidence.
type TrialEnded struct {
	Trial trial.Trial `json:"trial"`
}

func (SessionStarted) Kind() Kind    { return "session_started" }
func (SessionRenamed) Kind() Kind    { return "session_renamed" }
func (Answered) Kind() Kind          { return "answered" }
func (AnswerTakenBack) Kind() Kind   { return "answer_taken_back" }
func (Moved) Kind() Kind             { return "moved" }
func (TrialProposed) Kind() Kind     { return "trial_proposed" }
func (SearchEnded) Kind() Kind       { return "search_ended" }
func (SettingsConfirmed) Kind() Kind { return "settings_confirmed" }
func (RestartIntended) Kind() Kind   { return "restart_intended" }
func (TrialStarted) Kind() Kind      { return "trial_started" }
func (TrialFound) Kind() Kind        { return "trial_found" }
func (TrialEnded) Kind() Kind        { return "trial_ended" }

// MachineRead is what Belay read of the PC that it runs on, to be offered as
// known values. Sources tell where each came from.
type MachineRead struct {
	Values  trial.Values      `json:"values"`
	Sources map[string]string `json:"sources"`
}

// ReadingsAttached gives a trial readings that were taken over time: from a
// log of another program, or from the PC's own sensors.
type ReadingsAttached struct {
	N           int            `json:"n"`
	Source      string         `json:"source"` // for a person: "log bench.csv", "sensors of this PC"
	Readings    trial.Readings `json:"readings"`
	Clock       string         `json:"clock"`   // held, throttled or unknown
	AtCap       bool           `json:"at_cap"`  // the power limit held the clock down
	WarmUp      string         `json:"warm_up"` // reached, not reached or unknown
	Seconds     int            `json:"seconds"` // that the readings span
	LoadSeconds int            `json:"load_seconds"`
	Warnings    []string       `json:"warnings,omitempty"`
	Key         string         `json:"key,omitempty"` // idempotency key of the request
}

func (MachineRead) Kind() Kind      { return "machine_read" }
func (ReadingsAttached) Kind() Kind { return "readings_attached" }
