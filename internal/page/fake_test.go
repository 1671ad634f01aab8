package page

import (
	"context"
	"slices"
	"strconv"
	"sync"
	"time"

	"belay/internal/assist"
	"belay/internal/card"
	"belay/internal/chart"
	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/session"
	"belay/internal/trial"
)

// fakeSession is one invented session: a list of prompts walked in order.
type fakeSession struct {
	view    session.View
	prompts []session.Prompt
	at      int
	history []session.Entry
	keys    map[string]int
	trials  []trial.Trial
	refuse  map[string]func(map[string][]string) []fault.Field // by state
}

// fakeGuide is a Guide in memory. It is safe for concurrent use.
type fakeGuide struct {
	notices  []*fault.Error
	mu       sync.Mutex
	sessions map[string]*fakeSession
	order    []string
	flows    []assist.FlowInfo
	terms    []flow.Term
	reply    assist.Reply
	fail     error // returned by View when set
	forms    []assist.FormRequest
	started  []assist.StartRequest
	said     []string
	running  *assist.Running   // nil: this PC can run no load
	held     []byte            // the log that waits for its columns
	attached assist.LogRequest // the newest one that was attached
	changed  func(id string, version int64)
}

var _ Guide = (*fakeGuide)(nil)

func newFake() *fakeGuide {
	return &fakeGuide{
		sessions: map[string]*fakeSession{}, changed: func(string, int64) {},
		flows: []assist.FlowInfo{{Name: "desktop", Title: "A faster PC that stays stable"}},
	}
}

func (g *fakeGuide) add(id string, s *fakeSession) *fakeGuide {
	s.view.ID = id
	s.keys = map[string]int{}
	if s.view.Version == 0 {
		s.view.Version = 1
	}
	g.sessions[id] = s
	g.order = append(g.order, id)
	return g
}

func (g *fakeGuide) of(id string) (*fakeSession, error) {
	s := g.sessions[id]
	if s == nil {
		return nil, fault.New(fault.NotFound, "There is no such session.", "Go to the list of sessions.")
	}
	return s, nil
}

func (g *fakeGuide) Notices() []*fault.Error { return g.notices }

func (g *fakeGuide) Flows(context.Context) ([]assist.FlowInfo, error) { return g.flows, nil }

func (g *fakeGuide) List(context.Context) ([]assist.Summary, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	var out []assist.Summary
	for _, id := range g.order {
		s := g.sessions[id]
		if s == nil {
			continue
		}
		out = append(out, assist.Summary{
			ID: id, Title: s.view.Title, StageNo: 7, StageOf: len(s.view.Stages), Heading: s.prompts[s.at].Title,
			Practice: s.view.Practice, Finished: s.view.Finished, Version: s.view.Version, Updated: time.Date(2026, 3, 4, 19, 30, 0, 0, time.UTC),
		})
	}
	return out, nil
}

func (g *fakeGuide) Start(_ context.Context, req assist.StartRequest) (string, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if req.Title == "refuse" {
		f := fault.New(fault.Invalid, "A title has at most 80 characters.", "Type another title.")
		f.Fields = []fault.Field{{Field: "title", Message: "A title has at most 80 characters."}}
		return "", f
	}
	g.started = append(g.started, req)
	id := "new" + strconv.Itoa(len(g.started))
	g.add(id, &fakeSession{view: session.View{Title: req.Title, Practice: req.Practice, Stages: stages("prepare")}, prompts: []session.Prompt{welcome()}})
	return id, nil
}

func (g *fakeGuide) View(_ context.Context, id string) (session.View, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.fail != nil {
		return session.View{}, g.fail
	}
	s, err := g.of(id)
	if err != nil {
		return session.View{}, err
	}
	return s.view, nil
}

func (g *fakeGuide) Prompt(_ context.Context, id string) (session.Prompt, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	s, err := g.of(id)
	if err != nil {
		return session.Prompt{}, err
	}
	return s.prompts[s.at], nil
}

func (g *fakeGuide) History(_ context.Context, id string) ([]session.Entry, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	s, err := g.of(id)
	if err != nil {
		return nil, err
	}
	return slices.Clone(s.history), nil
}

func (g *fakeGuide) Trials(_ context.Context, id string) ([]trial.Trial, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	s, err := g.of(id)
	if err != nil {
		return nil, err
	}
	return s.trials, nil
}

func (g *fakeGuide) AnswerForm(_ context.Context, id string, req assist.FormRequest) (assist.Result, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.forms = append(g.forms, req)
	s, err := g.of(id)
	if err != nil {
		return assist.Result{}, err
	}
	present := s.prompts[s.at]
	if req.Action != "stop" {
		if check := s.refuse[present.State]; check != nil && req.Prompt == present.ID {
			if wrong := check(req.Form); len(wrong) > 0 {
				f := fault.New(fault.Invalid, "This answer needs a correction.", "Correct the fields that are named, and save again.")
				f.Fields = wrong
				return assist.Result{}, f
			}
		}
	}
	return g.move(id, s, req.Prompt, req.Key, "you")
}

func (g *fakeGuide) move(id string, s *fakeSession, prompt, key, from string) (assist.Result, error) {
	if _, done := s.keys[key]; done && key != "" {
		return assist.Result{Version: s.view.Version}, nil
	}
	present := s.prompts[s.at]
	if prompt != present.ID {
		return assist.Result{}, fault.New(fault.Conflict, "This step was already answered.", "Answer the present step.")
	}
	s.keys[key] = s.at
	s.at = min(s.at+1, len(s.prompts)-1)
	s.view.Version++
	s.history = append(s.history,
		session.Entry{Version: s.view.Version, Time: time.Date(2026, 3, 4, 19, 40, 0, 0, time.UTC), From: from, Title: present.Title, Stage: present.Stage},
		session.Entry{Version: s.view.Version, Time: time.Date(2026, 3, 4, 19, 40, 0, 0, time.UTC), From: "guide", Title: s.prompts[s.at].Title, Stage: present.Stage})
	g.changed(id, s.view.Version)
	return assist.Result{Version: s.view.Version}, nil
}

func (g *fakeGuide) Simulate(_ context.Context, id, prompt, key string) (assist.Result, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	s, err := g.of(id)
	if err != nil {
		return assist.Result{}, err
	}
	return g.move(id, s, prompt, key, "pc")
}

func (g *fakeGuide) Undo(_ context.Context, id, key string) (assist.Result, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	s, err := g.of(id)
	if err != nil {
		return assist.Result{}, err
	}
	if s.at == 0 {
		return assist.Result{}, fault.New(fault.Invalid, "There is no answer to take back.", "Answer the present step.")
	}
	s.at--
	s.view.Version++
	for i := range s.history {
		if s.history[i].Version == s.view.Version-1 {
			s.history[i].Superseded = true
		}
	}
	g.changed(id, s.view.Version)
	return assist.Result{Version: s.view.Version}, nil
}

func (g *fakeGuide) Rename(_ context.Context, id, title string) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	s, err := g.of(id)
	if err != nil {
		return err
	}
	if title == "" {
		return fault.New(fault.Invalid, "A title needs at least one character.", "Type another title.")
	}
	s.view.Title = title
	return nil
}

func (g *fakeGuide) Delete(_ context.Context, id string) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if _, err := g.of(id); err != nil {
		return err
	}
	delete(g.sessions, id)
	return nil
}

func (g *fakeGuide) Say(_ context.Context, id, text string) (assist.Reply, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if _, err := g.of(id); err != nil {
		return assist.Reply{}, err
	}
	if text == "" {
		return assist.Reply{}, fault.New(fault.Invalid, "Nothing was typed.", "Type a question, such as: why.")
	}
	g.said = append(g.said, text)
	return g.reply, nil
}

func (g *fakeGuide) Glossary(context.Context, string) ([]flow.Term, error) { return g.terms, nil }

var practice = &event.Practice{Seed: 7, Variant: "own"}

func (g *fakeGuide) Charts(_ context.Context, id string) ([]chart.Chart, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	s, err := g.of(id)
	if err != nil {
		return nil, err
	}
	d := chart.Data{Evidence: s.view.Evidence, Stages: s.view.Stages, Ceiling: 1.35, TempLimit: 95, PowerLim: 300, Stock: 43}
	for _, t := range s.trials {
		d.Trials = append(d.Trials, chart.Trial{Trial: t})
	}
	return chart.All(d), nil
}

func (g *fakeGuide) Chart(ctx context.Context, id, name string) (assist.Document, error) {
	all, err := g.Charts(ctx, id)
	if err != nil {
		return assist.Document{}, err
	}
	for _, c := range all {
		if c.Name == name {
			return assist.Document{MediaType: "image/svg+xml", Body: c.SVG()}, nil
		}
	}
	return assist.Document{}, fault.New(fault.NotFound, "There is no such chart.", "Use another name.")
}

func (g *fakeGuide) Card(_ context.Context, id string) (card.Data, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	s, err := g.of(id)
	if err != nil {
		return card.Data{}, err
	}
	next := trialPrompt()
	return card.Data{
		Title: s.view.Title, Stages: s.view.Stages, Now: s.view.Settings, Prompt: s.prompts[s.at], Next: &next, Stop: 95,
		Ahead: []session.Ahead{{Outcome: trial.NoBoot, Prompt: noBoot()}}, WayBack: ref(noBoot()),
	}, nil
}

func ref[T any](x T) *T { return &x }

// noBoot is the way back of the scenes.
func noBoot() session.Prompt {
	return session.Prompt{State: "core.no-boot", Title: "Bring the PC back to a picture", Messages: []session.Message{
		{Kind: "do", Text: "Wait five minutes while the board tries by itself."}, {Kind: "do", Text: "Clear the firmware settings as the board's manual shows."},
		{Kind: "see", Text: "The [[firmware setup]], or a message."},
	}}
}

// sent returns the answers that arrived.
func (g *fakeGuide) sent() []assist.FormRequest {
	g.mu.Lock()
	defer g.mu.Unlock()
	return slices.Clone(g.forms)
}

func (g *fakeGuide) Outlook(_ context.Context, id string) (session.Outlook, error) {
	if _, err := g.of(id); err != nil {
		return session.Outlook{}, err
	}
	return session.Outlook{
		Further: &session.Further{Sentence: "A further hour of all-core load at the keep runs clean with a chance of about 96 %."},
		Left:    session.TimeLeft{Step: 5, Low: 200, High: 600, Sentence: "From here it usually takes 3 h 30 min to 10 h in all."},
	}, nil
}

func (g *fakeGuide) Compare(_ context.Context, ids []string) (assist.Comparison, error) {
	if len(ids) < 2 {
		return assist.Comparison{}, fault.New(fault.Invalid, "A comparison takes 2 to 4 different sessions.", "Choose them in the list of sessions.")
	}
	var out assist.Comparison
	for _, id := range ids {
		s, err := g.of(id)
		if err != nil {
			return out, err
		}
		out.Sessions = append(out.Sessions, assist.Compared{ID: id, Title: s.view.Title, Keep: s.view.Keep, Evidence: s.view.Evidence, Trials: len(s.trials), Crashes: 1})
	}
	return out, nil
}
