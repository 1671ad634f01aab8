package assist

import (
	"context"
	"errors"

	"belay/internal/fault"
	"belay/internal/session"
)

// prompt returns what a session asks. Where a real PC restarts next, it first
// has everything secured that is saved, and says whether that went well: only
// after that may the PC go down.
func (a *Assist) prompt(ctx context.Context, s *session.State) *session.Prompt {
	p := s.Prompt()
	if a.Secure == nil || !s.Restarts() {
		return p
	}
	p.Restart = &session.Restart{Safe: true}
	var f *fault.Error
	if errors.As(fault.Wrap("assist.prompt", a.Secure(ctx)), &f) {
		p.Restart = &session.Restart{Why: f.Msg + " " + f.Next}
	}
	return p
}

// Notices returns what a person should know of the data, the oldest first.
func (a *Assist) Notices() []*fault.Error {
	if a.Known == nil {
		return nil
	}
	return a.Known()
}
