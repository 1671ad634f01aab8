// Package assist holds one use case for each thing that a person does:
// start, answer, undo, say, run a trial, export. Each loads the session's
// events, folds them, decides, commits what follows and only then tells
// others.
package assist

import (
	"context"
	"io/fs"
	"sync"
	"time"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/units"
)

// Log is the append-only log of events that the use cases write to.
// Its methods are safe for concurrent use and return faults.
type Log interface {
	// Append commits events behind version expected, all or none.
	// A Conflict fault says that another writer was first.
	Append(ctx context.Context, session string, expected int64, events []event.Envelope) error
	// Events returns a session's events in order, verified.
	Events(ctx context.Context, session string) ([]event.Envelope, error)
	// Heads lists the sessions, the newest first.
	Heads(ctx context.Context) ([]event.Head, error)
	Delete(ctx context.Context, session string) error
	// Import takes in an exported session and returns its id.
	Import(ctx context.Context, doc []byte) (string, error)
	PutFlow(ctx context.Context, hash string, body []byte) error
	Flow(ctx context.Context, hash string) ([]byte, error)
}

// PracticeRig is a simulated PC. Run returns at once; its minutes are simulated.
type PracticeRig interface {
	Machine() trial.Machine
	AirTemp() units.Celsius
	LoadLines() []string
	Run(n int, s trial.Settings, load trial.Load, minutes units.Minutes) trial.Trial
}

// Config is what the use cases need from outside.
type Config struct {
	Log    Log
	Offer  fs.FS                                                      // the flows to offer
	Rig    func(seed uint64, variant string) (PracticeRig, error)     // makes the simulated PC of a practice session
	Export func(events []event.Envelope, flow []byte) ([]byte, error) // writes a session as one verifiable file
	Notify func(session string, version int64)                        // told what has been committed, after it has been
	Now    func() time.Time
	NewID  func() string
	// Secure makes all that is saved ready for the PC to go down, and returns
	// a fault when it is not. Without it, no prompt says that a restart is safe.
	Secure func(ctx context.Context) error
	Known  func() []*fault.Error // what a person should know of the data; may be nil
	BootID string                // names the run of the operating system since its start; "" if unknown
	Bench  Bench                 // the PC that Belay runs on, for trials of its own

	Detect  func() (values trial.Values, sources map[string]string) // reads the PC that Belay runs on; nil: not at all
	Columns Columns                                                 // remembers the columns of logs; nil: not at all
	Held    LogHolder                                               // keeps logs until their columns are confirmed; nil: not at all
}

// Assist runs the use cases. It is safe for concurrent use.
type Assist struct {
	Config
	mu     sync.Mutex
	graphs map[string]*flow.Graph // by hash

	bench sync.Mutex // guards live
	live  *live      // the trial that runs on this PC now, or nil
}

// New returns the use cases over what c names; every field but BootID, Bench, Secure, Known, Detect, Columns and Held is needed.
func New(c Config) *Assist {
	return &Assist{Config: c, graphs: map[string]*flow.Graph{}}
}

// StartRequest begins a session.
type StartRequest struct {
	Flow     string
	Title    string
	Practice *event.Practice
	// Elsewhere says that the PC to tune is not the one that Belay runs on.
	Elsewhere bool
}

// AnswerRequest is one answer to a prompt. Key is the idempotency key of the
// request, or "".
type AnswerRequest struct {
	Prompt string
	Action string
	Values trial.Values
	Key    string
	// Confirm names fields whose odd values are meant as they are.
	Confirm []string
}

// Result is a session after a command.
type Result struct {
	Version int64           `json:"version"`
	Prompt  *session.Prompt `json:"prompt"`
}

// Summary is a session in the list.
type Summary struct {
	ID       string          `json:"id"`
	Title    string          `json:"title"`
	Stage    string          `json:"stage"`
	StageNo  int             `json:"stage_no"` // 1-based place of the stage in the ladder
	StageOf  int             `json:"stage_of"`
	State    string          `json:"state"`
	Heading  string          `json:"heading"` // title of the present prompt
	Practice *event.Practice `json:"practice"`
	Finished bool            `json:"finished"`
	Version  int64           `json:"version"`
	Started  time.Time       `json:"started"`
	Updated  time.Time       `json:"updated"`
}

// Document is an exported file.
type Document struct {
	Name      string // file name, made by Belay
	MediaType string
	Body      []byte
}

// FlowInfo names a flow and its stages.
type FlowInfo struct {
	Name    string              `json:"name"`
	Title   string              `json:"title"`
	Version int                 `json:"version"`
	Stages  []session.StageView `json:"stages"`
}

// FormRequest is an answer from a form, its numbers as a person typed them.
type FormRequest struct {
	Prompt string
	Action string
	Form   map[string][]string
	Key    string
	// Confirm names fields whose odd values are meant as they are.
	Confirm []string
}
