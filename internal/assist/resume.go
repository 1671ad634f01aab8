package assist

import (
	"context"
	"time"

	"belay/internal/event"
	"belay/internal/trial"
)

// Resume looks at the start for trials that have no end on record, and
// commits what is known about how each ended.
func (a *Assist) Resume(ctx context.Context) error {
	if a.Bench.Found == nil {
		return nil
	}
	heads, err := a.Log.Heads(ctx)
	if err != nil {
		return err
	}
	for _, h := range heads {
		if err := a.resume(ctx, h.Session); err != nil {
			return err
		}
	}
	return nil
}

func (a *Assist) resume(ctx context.Context, id string) error {
	return a.change(ctx, id, func(s loaded) ([]event.Payload, error) {
		if s.Practice != nil || s.Running == nil || s.State.Found != nil || !s.Here().Trial {
			return nil, nil
		}
		v := a.Bench.Found(Unended{
			Session: id, Trial: s.Running.N, Started: startOf(s), BootID: s.Running.BootID,
			MemoryChanged: s.MemoryChanged(), Limit: s.TempLimit(),
		})
		values := trial.Values{}
		if v.Outcome != "" {
			values["outcome"] = string(v.Outcome)
		}
		if v.Dated {
			name := "minutes"
			if v.Outcome.Failed() || v.Outcome == "" {
				name = "minutes_to_failure"
			}
			values[name] = roundTo(float64(v.Minutes), 0.01)
		}
		return []event.Payload{event.TrialFound{
			N: s.Running.N, From: "crash", Values: values, Says: v.Says, Certainty: v.Certainty, Evidence: v.Evidence,
		}}, nil
	})
}

// startOf is when the running trial was started.
func startOf(s loaded) (at time.Time) {
	for _, e := range s.events {
		if e.Kind == (event.TrialStarted{}).Kind() {
			at = e.Time
		}
	}
	return at
}
