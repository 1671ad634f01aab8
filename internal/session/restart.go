package session

import "belay/internal/event"

// intend records what a step is about to change in which a real PC restarts.
func (d *decision) intend() error {
	s := d.state
	here := s.Here()
	if s.Practice != nil || !here.Restarts {
		return nil
	}
	intent := event.RestartIntended{State: here.ID, From: s.Settings, Expect: s.words()(here.See)}
	if here.Confirms && s.Proposal != nil {
		to := s.Proposal.Settings
		intent.To = &to
	}
	return d.record(intent)
}

// Restarts reports whether the PC restarts in the present step and the log
// says what for.
func (s *State) Restarts() bool { return s.Intended && s.Here().Restarts }
