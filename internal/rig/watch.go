package rig

import (
	"context"
	"time"

	"belay/internal/sample"
)

// Rate is how far apart the samples of a trial are.
const Rate = time.Second

// Watch reads the sensors at each tick until ctx ends or put fails, and hands
// each reading to put with its time in seconds since the first. It returns
// the error of put, or nil. A reading that the ticks missed is left out.
func (s *Sensors) Watch(ctx context.Context, ticks <-chan time.Time, put func(at float64, v sample.Values) error) error {
	var first time.Time
	for {
		select {
		case <-ctx.Done():
			return nil
		case now, ok := <-ticks:
			if !ok {
				return nil
			}
			if first.IsZero() {
				first = now
			}
			at := now.Sub(first).Seconds()
			if err := put(at, s.Read(at)); err != nil {
				return err
			}
		}
	}
}
