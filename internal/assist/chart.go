package assist

import (
	"context"

	"belay/internal/chart"
	"belay/internal/event"
)

// Charts returns every chart of a session.
func (a *Assist) Charts(ctx context.Context, id string) ([]chart.Chart, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return nil, err
	}
	d, err := chartData(s)
	if err != nil {
		return nil, err
	}
	return chart.All(d), nil
}

// Chart returns one chart of a session as a file.
func (a *Assist) Chart(ctx context.Context, id, name string) (Document, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return Document{}, err
	}
	d, err := chartData(s)
	if err != nil {
		return Document{}, err
	}
	c, err := chart.Named(name, d)
	if err != nil {
		return Document{}, err
	}
	return Document{Name: "belay-" + name + "-" + id + ".svg", MediaType: "image/svg+xml", Body: c.SVG()}, nil
}

func chartData(s loaded) (chart.Data, error) {
	limits := s.Graph().Platform.Limits.For(s.Machine)
	d := chart.Data{
		Stages: s.Stages(), Evidence: s.Evidence(), Stock: s.Machine.StockRatio,
		Ceiling: limits.CoreCeiling, TempLimit: limits.TempLimit, PowerLim: limits.PowerLimit,
	}
	for _, t := range s.Trials {
		d.Trials = append(d.Trials, chart.Trial{Trial: t})
	}
	return d, s.date(d.Trials)
}

// date fills in when the trials ended.
func (s loaded) date(trials []chart.Trial) error {
	for _, e := range s.events {
		if e.Kind != (event.TrialEnded{}).Kind() {
			continue
		}
		p, err := event.Decode(e)
		if err != nil {
			return err
		}
		ended, ok := p.(event.TrialEnded)
		for i := range trials {
			if ok && trials[i].N == ended.Trial.N {
				trials[i].At = e.Time // the newest of this number: an older one was taken back
			}
		}
	}
	return nil
}
