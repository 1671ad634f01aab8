package session

import (
	"time"

	"belay/internal/event"
	"belay/internal/trial"
)

// Prompt is what a session asks now, complete enough for a program that
// knows only field names.
type Prompt struct {
	ID       string          `json:"id"`
	State    string          `json:"state"`
	Stage    string          `json:"stage"`
	Title    string          `json:"title"`
	Minutes  float64         `json:"minutes"`  // how long this step takes, minutes
	Restarts bool            `json:"restarts"` // the PC restarts in this step
	Trial    bool            `json:"trial"`    // the answer is the outcome of a trial
	Finished bool            `json:"finished"`
	Messages []Message       `json:"messages"`
	Cautions []Caution       `json:"cautions"`
	Proposal *trial.Proposal `json:"proposal,omitempty"`
	Restart  *Restart        `json:"restart,omitempty"` // only in a step in which a real PC restarts
	Found    *Found          `json:"found,omitempty"`
	Fields   []Field         `json:"fields"`
	Actions  []Action        `json:"actions"`
}

// Restart says whether the PC may go down now.
type Restart struct {
	Safe bool   `json:"safe"`          // all answers are on the disk, checked, and in a backup
	Why  string `json:"why,omitempty"` // why it may not, and what to do
}

// Message is one piece of the prompt's text. Kind is say (why), evidence (what
// the trials say now), do (one numbered action), see (what to expect) or
// if_fails.
type Message struct {
	Kind string `json:"kind"`
	Text string `json:"text"`
}

// Found is what Belay itself found out about the trial of this prompt. It has
// filled in the fields beforehand.
type Found struct {
	From      string   `json:"from"` // load or crash
	Says      string   `json:"says"`
	Certainty string   `json:"certainty,omitempty"` // certain, likely or unknown
	Evidence  []string `json:"evidence,omitempty"`
}

// Caution is a warning with this step's numbers filled in.
type Caution struct {
	ID          string `json:"id"`
	Signal      string `json:"signal"`
	Hazard      string `json:"hazard"`
	Consequence string `json:"consequence"`
	Avoid       string `json:"avoid"`
	Limit       string `json:"limit"`
	WayBack     string `json:"way_back"`
}

// Field is one question of a prompt.
type Field struct {
	Name     string              `json:"name"`
	Label    string              `json:"label"`
	Kind     string              `json:"kind"` // number, choice, yesno, text or readings
	Unit     string              `json:"unit,omitempty"`
	Min      *float64            `json:"min,omitempty"`
	Max      *float64            `json:"max,omitempty"`
	Step     *float64            `json:"step,omitempty"`
	Choices  []Choice            `json:"choices,omitempty"`
	Columns  []Field             `json:"columns,omitempty"` // readings: the number fields of a row
	Rows     *[2]int             `json:"rows,omitempty"`    // readings: least and most rows
	Required bool                `json:"required"`
	NeededIf map[string][]string `json:"needed_if,omitempty"` // required when another field has one of these values
	Readback bool                `json:"readback,omitempty"`  // to be typed as read on the screen
	Default  any                 `json:"default,omitempty"`   // known or proposed value
	Source   string              `json:"source,omitempty"`    // where the default was read, if nobody typed it
	Example  string              `json:"example,omitempty"`
	Help     string              `json:"help,omitempty"`    // why it is asked and where to find it
	Unknown  string              `json:"unknown,omitempty"` // what happens when it is left open
}

// Choice is one answer of a choice field.
type Choice struct {
	Value string `json:"value"`
	Label string `json:"label"`
}

// Action is one way to answer a prompt.
type Action struct {
	Name  string   `json:"name"`
	Label string   `json:"label"`
	Needs []string `json:"needs"`
}

// StageView is one rung of the ladder. Status is pending, active, done or
// skipped.
type StageView struct {
	ID      string `json:"id"`
	Title   string `json:"title"`
	Purpose string `json:"purpose"`
	Minutes [2]int `json:"minutes"`
	Status  string `json:"status"`
}

// View is a session as a caller sees it.
type View struct {
	ID       string          `json:"id"`
	Title    string          `json:"title"`
	Flow     string          `json:"flow"`
	Stage    string          `json:"stage"`
	State    string          `json:"state"`
	Stages   []StageView     `json:"stages"`
	Settings trial.Settings  `json:"settings"`
	Keep     *trial.Settings `json:"keep"` // nil until a search has ended with one
	Evidence Evidence        `json:"evidence"`
	Version  int64           `json:"version"`
	Practice *event.Practice `json:"practice"` // nil: a real PC
	Finished bool            `json:"finished"`
	Started  time.Time       `json:"started"`
	Updated  time.Time       `json:"updated"`
}

// Entry is one line of the conversation. From is guide, you or pc.
type Entry struct {
	Version    int64     `json:"version"`
	Time       time.Time `json:"time"`
	From       string    `json:"from"`
	Title      string    `json:"title"`
	Lines      []string  `json:"lines"`
	Stage      string    `json:"stage"`
	Superseded bool      `json:"superseded"` // taken back since
}
