package assist

import (
	"context"
	"fmt"
	"io"
	"strings"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/sample"
	"belay/internal/sensorlog"
	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/units"
)

// Columns remembers which columns of a log hold what, by its heading.
type Columns interface {
	Recall(key string) (sensorlog.Mapping, bool)
	Remember(key string, m sensorlog.Mapping) error
}

// LogHolder keeps logs while a person confirms their columns. Open returns a
// NotFound fault for a key that is not kept any more.
type LogHolder interface {
	Keep(r io.Reader) (key string, err error)
	Open(key string) (io.ReadCloser, error)
	Drop(key string)
}

// HoldLog keeps a log and returns its key for LogRequest.
func (a *Assist) HoldLog(r io.Reader) (string, error) {
	if a.Held == nil {
		return "", fault.New(fault.Unavailable, "Belay keeps no logs here.", "Send the log over the API.")
	}
	return a.Held.Keep(r)
}

// LogRequest attaches a log of readings to trial N. Without Columns the
// remembered mapping of its heading is used, and where there is none nothing
// is attached unless Guess says that the guess will do.
type LogRequest struct {
	N       int
	Name    string // of the file, for the person
	Body    io.Reader
	Held    string // key of a kept log, in the place of Body
	Columns *sensorlog.Mapping
	Guess   bool
	Look    bool // only look, whatever is known
	Key     string
}

// LogResult says what a log holds, and whether it was attached. If it was
// not, its columns are to be confirmed and the log sent again with them.
type LogResult struct {
	Attached   bool              `json:"attached"`
	Remembered bool              `json:"remembered"` // the columns were confirmed before
	Layout     sensorlog.Layout  `json:"layout"`
	Columns    sensorlog.Mapping `json:"columns"` // as they were used
	Reduced    sample.Reduced    `json:"reduced"`
	Next       string            `json:"next"`
	Version    int64             `json:"version"`
	Trial      *trial.Trial      `json:"trial"` // with its new readings; nil while its outcome is not known
}

// usualClock is assumed where the base clock is not known, MHz. Common
// practice, no source.
const usualClock = 100

// AttachLog reads a log in one pass, reduces it and gives its readings to a
// trial.
func (a *Assist) AttachLog(ctx context.Context, id string, req LogRequest) (LogResult, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return LogResult{}, err
	}
	if _, err := s.Attach(event.ReadingsAttached{N: req.N, Readings: trial.Readings{CoreTemp: 50}}); err != nil {
		return LogResult{}, err // before a large file is read
	}
	if req.Held != "" && a.Held != nil {
		file, err := a.Held.Open(req.Held)
		if err != nil {
			return LogResult{}, err
		}
		defer file.Close()
		req.Body = file
	}
	if req.Body == nil {
		return LogResult{}, fault.New(fault.Invalid, "There is no log in this request.", "Send one.")
	}
	var r LogResult
	known := false
	log, err := sensorlog.Read(req.Body, func(l sensorlog.Layout) (sensorlog.Mapping, error) {
		switch {
		case req.Columns != nil:
			r.Columns, known = *req.Columns, true
		case a.Columns != nil:
			r.Columns, r.Remembered = a.Columns.Recall(l.Key)
			r.Columns = l.Fit(r.Columns)
			known = r.Remembered && l.Check(r.Columns) == nil
			r.Remembered = known
		}
		if !known {
			r.Columns = l.Guess
		}
		if !known && !req.Guess && len(l.Guess.Columns) == 0 {
			r.Layout = l
			return r.Columns, errNoGuess
		}
		return r.Columns, l.Check(r.Columns)
	})
	if err == errNoGuess {
		r.Version, r.Next = s.Version, "No column could be guessed. Say which columns hold what, and send the log again."
		r.Reduced = (&sample.Series{}).Reduce(sample.Want{})
		return r, nil
	}
	if err != nil {
		return r, err
	}
	r.Layout, r.Version = log.Layout, s.Version
	r.Reduced = log.Series.Reduce(wanted(s, req.N))
	r.Reduced.Warnings = append(r.Reduced.Warnings, log.Warnings...)
	if req.Look || !known && !req.Guess {
		r.Next = "Compare the columns with what you know of the log. Send it again with them, or with a correction."
		return r, nil
	}
	if err := a.attach(ctx, id, "log "+fileName(req.Name), req.N, req.Key, r.Reduced); err != nil {
		return r, err
	}
	if a.Columns != nil && !r.Remembered {
		if err := a.Columns.Remember(r.Layout.Key, r.Columns); err != nil {
			r.Reduced.Warnings = append(r.Reduced.Warnings, "The choice of columns could not be saved, so you will be asked again.")
		}
	}
	if req.Held != "" && a.Held != nil {
		a.Held.Drop(req.Held)
	}
	after, err := a.load(ctx, id)
	if err != nil {
		return r, err
	}
	r.Attached, r.Version = true, after.Version
	if req.N <= len(after.State.Trials) {
		r.Trial = &after.State.Trials[req.N-1]
		r.Next = "The readings are with the trial."
	} else {
		r.Next = "The readings are filled in. Report how the trial ended."
	}
	return r, nil
}

// errNoGuess ends the reading of a log that nothing is known of.
var errNoGuess = fault.New(fault.Invalid, "No column could be guessed.", "Say which columns hold what.")

// attach commits reduced readings.
func (a *Assist) attach(ctx context.Context, id, source string, n int, key string, r sample.Reduced) error {
	_, err := a.once(ctx, id, key, func(s loaded) ([]event.Payload, error) {
		return s.Attach(event.ReadingsAttached{
			N: n, Source: source, Readings: r.Readings(), Clock: r.ClockState, AtCap: r.AtCap, WarmUp: r.WarmUp,
			Seconds: r.Seconds, LoadSeconds: r.LoadSeconds, Warnings: r.Warnings, Key: key,
		})
	})
	return err
}

// wanted is the clock that the settings of trial n ask for, and the limit
// that they set.
func wanted(s loaded, n int) sample.Want {
	set := s.Settings
	load := trial.Load("")
	if n <= len(s.State.Trials) {
		set, load = s.State.Trials[n-1].Settings, s.State.Trials[n-1].Load
	} else if s.Proposal != nil {
		load = s.Proposal.Load
	}
	base := s.Machine.BaseClock
	if base == 0 {
		base = usualClock
	}
	ratio := set.Ratio
	if ratio == 0 {
		ratio = s.Machine.StockRatio
	}
	if load == trial.WideVector {
		ratio -= units.Ratio(set.WideVectorOffset)
	}
	want := sample.Want{Clock: base * units.Megahertz(ratio), Limit: set.SustainedLimit}
	if want.Limit == 0 {
		want.Limit = s.Machine.SustainedLimit
	}
	if load == trial.Bursty {
		want.Clock = 0 // its idle spells lower the clock
	}
	return want
}

// fileName makes a name from outside fit for one line.
func fileName(name string) string {
	name = strings.TrimSpace(strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7F {
			return -1
		}
		return r
	}, name[strings.LastIndexAny(name, `/\`)+1:]))
	if r := []rune(name); len(r) > 60 {
		name = string(r[:60]) + "…"
	}
	if name == "" {
		return "without a name"
	}
	return name
}

// detected is the event that offers what was read of this PC, or none: a
// simulated PC and another PC are not this one.
func (a *Assist) detected(req StartRequest) []event.Payload {
	if a.Detect == nil || req.Practice != nil || req.Elsewhere {
		return nil
	}
	values, sources := a.Detect()
	if len(values) == 0 {
		return nil
	}
	return []event.Payload{event.MachineRead{Values: values, Sources: sources}}
}

// LogFor returns what a page has to know before it asks for a log of trial n.
func (a *Assist) LogFor(ctx context.Context, id string, n int) (session.View, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return session.View{}, err
	}
	if _, err := s.Attach(event.ReadingsAttached{N: n, Readings: trial.Readings{CoreTemp: 50}}); err != nil {
		return session.View{}, fmt.Errorf("log of trial %d: %w", n, err)
	}
	return s.View(), nil
}
