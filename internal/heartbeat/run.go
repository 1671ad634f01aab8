package heartbeat

import (
	"context"
	"time"
)

// Every is the time between beats. Chosen: a crash is then dated to a second,
// for a few gigabytes of writing in a year of daily trials.
const Every = time.Second

// StallAfter is the gap within one boot that counts as a stall: the PC stood
// still, or the disk did, without going down.
const StallAfter = 3 * time.Second

// Stamp is what a beat needs from its surroundings.
type Stamp struct {
	Now   func() time.Time
	Since func() (time.Duration, error) // time since the operating system started
}

// Run beats at once and then every Every until ctx ends. Fill adds what is
// known of the moment to the beat. It returns the first error of writing; a
// trial goes on without its heartbeat then, and the caller says so.
func Run(ctx context.Context, r *Ring, s Stamp, fill func(*Beat)) error {
	t := time.NewTicker(Every)
	defer t.Stop()
	due := s.Now()
	var began time.Duration
	for {
		since, err := s.Since()
		if err != nil {
			return err
		}
		now := s.Now()
		if began == 0 {
			began = since
		}
		b := Beat{Kind: Alive, Wall: now, Since: since, Ran: since - began, Late: max(0, now.Sub(due))}
		fill(&b)
		if err := r.Beat(b); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return nil
		case due = <-t.C:
		}
	}
}

// Stalls counts gaps of more than StallAfter between neighbouring beats of
// the same trial in the same boot.
func Stalls(beats []Beat) int {
	n := 0
	for i := 1; i < len(beats); i++ {
		a, b := beats[i-1], beats[i]
		if a.Boot == b.Boot && a.Session == b.Session && a.Trial == b.Trial && a.Kind == Alive && b.Since-a.Since > StallAfter {
			n++
		}
	}
	return n
}
