package assist

import (
	"context"

	"belay/internal/card"
)

// Card returns what the card to take along tells of the present step.
func (a *Assist) Card(ctx context.Context, id string) (card.Data, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return card.Data{}, err
	}
	return card.Data{
		Title: s.Title, Practice: s.Practice != nil, Stages: s.Stages(), Now: s.Settings, Prompt: *s.Prompt(),
		Next: s.Next(), Ahead: s.Ahead(), WayBack: s.WayBack(), Stop: s.Graph().Platform.Limits.For(s.Machine).TempLimit,
	}, nil
}
