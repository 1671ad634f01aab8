package page

import (
	"context"

	"belay/internal/assist"
)

func (g *fakeGuide) CanRun() bool                                   { return g.running != nil }
func (g *fakeGuide) RunTrial(context.Context, string, string) error { return nil }
func (g *fakeGuide) StopTrial(string) error                         { return nil }

// RunningTrial returns what the test set; the zero value stands for none.
func (g *fakeGuide) RunningTrial(string) *assist.Running {
	if g.running == nil || g.running.Trial == 0 {
		return nil
	}
	return g.running
}
