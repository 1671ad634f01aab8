package assist

import (
	"context"
	"slices"

	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/session"
	"belay/internal/trial"
)

// Flows lists the flows that sessions can begin with.
func (a *Assist) Flows(context.Context) ([]FlowInfo, error) {
	names, err := flow.Names(a.Offer)
	if err != nil {
		return nil, fault.Wrap("assist.Flows", err)
	}
	out := []FlowInfo{}
	for _, name := range names {
		g, _, err := a.offered(name)
		if err != nil {
			return nil, err
		}
		out = append(out, infoOf(g))
	}
	return out, nil
}

// FlowInfo describes one flow.
func (a *Assist) FlowInfo(_ context.Context, name string) (FlowInfo, error) {
	names, err := flow.Names(a.Offer)
	if err != nil {
		return FlowInfo{}, fault.Wrap("assist.FlowInfo", err)
	}
	if !slices.Contains(names, name) {
		return FlowInfo{}, fault.New(fault.NotFound, "There is no flow of this name.", "List the flows and use one of those.")
	}
	g, _, err := a.offered(name)
	if err != nil {
		return FlowInfo{}, err
	}
	return infoOf(g), nil
}

func infoOf(g *flow.Graph) FlowInfo {
	info := FlowInfo{Name: g.Name, Title: g.Title, Version: g.Version, Stages: []session.StageView{}}
	for _, st := range g.Stages {
		info.Stages = append(info.Stages, session.StageView{
			ID: st.ID, Title: st.Title, Purpose: st.Purpose, Minutes: st.Minutes, Status: "pending",
		})
	}
	return info
}

// List returns all sessions, the newest first. A session that cannot be read
// is listed with its id as the title.
func (a *Assist) List(ctx context.Context) ([]Summary, error) {
	heads, err := a.Log.Heads(ctx)
	if err != nil {
		return nil, fault.Wrap("assist.List", err)
	}
	out := make([]Summary, 0, len(heads))
	for _, h := range heads {
		s, err := a.load(ctx, h.Session)
		if fault.Is(err, fault.NotFound) {
			continue // deleted meanwhile
		}
		if err != nil {
			out = append(out, Summary{
				ID: h.Session, Title: h.Session, Heading: "This session cannot be read", Version: h.Version,
				Started: h.Started, Updated: h.Updated,
			})
			continue
		}
		out = append(out, summaryOf(s.State))
	}
	return out, nil
}

func summaryOf(s *session.State) Summary {
	stages := s.Stages()
	sum := Summary{
		ID: s.ID, Title: s.Title, State: s.At, Heading: s.Prompt().Title, StageOf: len(stages),
		Practice: s.Practice, Finished: s.Finished(), Version: s.Version, Started: s.Started, Updated: s.Updated,
	}
	for i, st := range stages {
		if st.Status == "active" || st.Status == "done" {
			sum.Stage, sum.StageNo = st.ID, i+1
		}
	}
	return sum
}

// View returns a session.
func (a *Assist) View(ctx context.Context, id string) (session.View, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return session.View{}, err
	}
	return s.View(), nil
}

// Prompt returns what a session asks now.
func (a *Assist) Prompt(ctx context.Context, id string) (session.Prompt, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return session.Prompt{}, err
	}
	return *a.prompt(ctx, s.State), nil
}

// History returns the conversation in order.
func (a *Assist) History(ctx context.Context, id string) ([]session.Entry, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return nil, err
	}
	return s.History(), nil
}

// Trials returns all trials in order.
func (a *Assist) Trials(ctx context.Context, id string) ([]trial.Trial, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return nil, err
	}
	if s.State.Trials == nil {
		return []trial.Trial{}, nil
	}
	return s.State.Trials, nil
}

// Evidence returns what the trials say.
func (a *Assist) Evidence(ctx context.Context, id string) (session.Evidence, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return session.Evidence{}, err
	}
	return s.Evidence(), nil
}

// Glossary returns the terms of the session's flow.
func (a *Assist) Glossary(ctx context.Context, id string) ([]flow.Term, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return nil, err
	}
	return s.Graph().Glossary, nil
}

// Events returns a session's log, verified.
func (a *Assist) Events(ctx context.Context, id string) ([]event.Envelope, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return nil, err
	}
	return s.events, nil
}

// ExportSession returns a whole session as one verifiable file.
func (a *Assist) ExportSession(ctx context.Context, id string) (Document, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return Document{}, err
	}
	packed, err := a.Log.Flow(ctx, s.FlowHash)
	if err != nil {
		return Document{}, fault.Wrap("assist.ExportSession", err)
	}
	body, err := a.Export(s.events, packed)
	if err != nil {
		return Document{}, fault.Wrap("assist.ExportSession", err)
	}
	return Document{Name: "belay-session-" + id + ".json", MediaType: "application/json", Body: body}, nil
}
