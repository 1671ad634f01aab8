// Package flow decodes a guide written as YAML into an immutable graph and
// proves it sound: every state can be reached and left, every failure has a
// way on, every step that touches a voltage or a limit shows its caution, and
// every name that is used exists.
//
// The format is described in docs/formats/flow.md.
package flow

import (
	"belay/internal/cause"
	"belay/internal/heat"
	"belay/internal/loadline"
	"belay/internal/safety"
	"belay/internal/stability"
	"belay/internal/trial"
)

// Special targets of a branch.
const (
	Return = "@return" // the state that the person stopped in
)

// Graph is one flow with all that it refers to. It is never changed once
// loaded, and safe to share between goroutines.
type Graph struct {
	Name      string
	Title     string
	Version   int
	Start     string // id of the first state
	StopState string // id of the state that "stop" leads to from anywhere
	Stages    []Stage
	States    []*State // in the order of the file
	Fields    map[string]*Field
	Cautions  map[string]*Caution
	Glossary  []Term
	Causes    cause.Table
	Platform  Platform
	Hash      string // SHA-256 of the bundle it was loaded from, hex

	byID map[string]*State
}

// State returns the state with this id, or nil.
func (g *Graph) State(id string) *State { return g.byID[id] }

// Stage is one rung of the ladder.
type Stage struct {
	ID      string `yaml:"id" json:"id"`
	Title   string `yaml:"title" json:"title"`
	Purpose string `yaml:"purpose" json:"purpose"` // one sentence: why this stage
	Minutes [2]int `yaml:"minutes" json:"minutes"` // usual span
}

// State is one prompt of the conversation. Texts may hold {placeholders}
// (see Placeholders) and [[glossary terms]].
type State struct {
	ID       string
	Stage    string
	Title    string         // what to do, as a heading
	Say      string         // why, in one or two short paragraphs
	Do       []string       // numbered actions, at most seven
	See      string         // what you should see
	IfFails  string         // what to do if it does not go so
	Minutes  float64        // how long it takes; 0: a minute or less
	Restarts bool           // the PC restarts in this step
	Cautions []string       // ids, in the order shown
	Plan     string         // search whose next proposal is computed on arrival, or ""
	Confirms bool           // its answer says what is now in the firmware
	Trial    bool           // its answer is the outcome of the proposed trial
	Machine  bool           // its answer describes the PC
	Failure  trial.Outcome  // the outcome that this state deals with, or ""
	End      bool           // the guide may rest here for good
	Touches  []safety.Touch // hazards of this state, found by the loader and declared
	Fields   []FieldUse
	Actions  []Action
	Auto     []Branch // taken on arrival, without an answer
}

// FieldUse is a field as one state asks for it.
type FieldUse struct {
	Name     string
	Required bool
	NeededIf map[string][]string // required only when another field of this state has one of these values
	Readback bool                // to be typed as read on the screen, never prefilled
}

// Field is a question with a typed answer, the same in every state.
type Field struct {
	Name      string   `yaml:"name"`
	Label     string   `yaml:"label"`
	Kind      string   `yaml:"kind"` // number, choice, yesno, text or readings
	Unit      string   `yaml:"unit"`
	Min       float64  `yaml:"min"`
	Max       float64  `yaml:"max"`
	Step      float64  `yaml:"step"`
	Example   string   `yaml:"example"`
	MaxLength int      `yaml:"max_length"` // text, in characters
	Choices   []Choice `yaml:"choices"`
	Columns   []string `yaml:"columns"` // readings: names of number fields
	Rows      [2]int   `yaml:"rows"`    // readings: least and most rows
	Why       string   `yaml:"why"`
	Where     string   `yaml:"where"`   // where to find it
	Unknown   string   `yaml:"unknown"` // what happens when it is left open; "" if it must be known
}

// Choice is one answer of a choice field.
type Choice struct {
	Value string `yaml:"value" json:"value"`
	Label string `yaml:"label" json:"label"`
}

// Action is one button under a prompt.
type Action struct {
	Name     string
	Label    string
	Needs    []string // fields that must be answered; conditional ones are not listed
	Branches []Branch // the first whose condition holds is taken; the last has none
}

// Branch is one way on.
type Branch struct {
	When *Condition // nil: always
	To   string
}

// Caution is a warning before its action. It follows the signal words of ISO
// 3864-2 and the common form hazard, consequence, how to avoid.
type Caution struct {
	ID          string         `yaml:"id"`
	Harm        string         `yaml:"harm"`   // data, hardware, injury or serious-injury
	Signal      string         `yaml:"signal"` // NOTICE, CAUTION or WARNING, by harm
	Hazard      string         `yaml:"hazard"`
	Consequence string         `yaml:"consequence"`
	Avoid       string         `yaml:"avoid"`
	Limit       string         `yaml:"limit"`
	WayBack     string         `yaml:"way_back"`
	Guards      []safety.Touch `yaml:"guards"` // hazards that it covers
}

// Term is one entry of the glossary.
type Term struct {
	Term string   `yaml:"term" json:"term"`
	Also []string `yaml:"also" json:"also"` // the usual other words for it
	Text string   `yaml:"text" json:"text"`
}

// Platform is a family of processors with its limits, and what the models
// believe of it before any reading. Every figure names its source.
type Platform struct {
	ID      string            `yaml:"id"`
	Title   string            `yaml:"title"`
	Limits  safety.Limits     `yaml:"limits"`
	Sources map[string]string `yaml:"sources"` // key of a limit: where it comes from
	// Priors is nil in a platform that leaves them to the models.
	Priors       *Priors      `yaml:"priors"`
	PriorSources PriorSources `yaml:"prior_sources"`
}

// Priors is what the models believe before any reading.
type Priors struct {
	Stability stability.Family `yaml:"stability"`
	Heat      heat.Prior       `yaml:"heat"` // of a part with ten cores
	LoadLine  loadline.Prior   `yaml:"load_line"`
}

// PriorSources says where each figure of the priors comes from, by model and
// key.
type PriorSources struct {
	Stability map[string]string `yaml:"stability"`
	Heat      map[string]string `yaml:"heat"`
	LoadLine  map[string]string `yaml:"load_line"`
}

// Placeholders are the names that a text may hold in braces. The session
// fills them in.
var Placeholders = []string{
	"ratio", "clock", "present_ratio", "present_clock",
	"set_voltage", "present_voltage", "expected_load_voltage", "voltage_change",
	"ceiling", "set_ceiling", "dram_voltage", "present_dram_voltage", "dram_ceiling",
	"temp_limit", "hot_limit", "expected_temp", "expected_power", "power_limit",
	"sustained_limit", "stock_sustained_limit", "suggested_cap",
	"cache_ratio", "present_cache_ratio", "wide_vector_offset",
	"data_rate", "present_data_rate", "kit_rate", "timings", "load_line", "low_end",
	"load", "load_text", "minutes", "trial", "because", "if_clean", "if_failed",
	"droop", "gain_cap", "gain_tuning", "gain_total", "gain_last", "suspect", "suspect_because",
	"keep", "step_back", "failures",
}
