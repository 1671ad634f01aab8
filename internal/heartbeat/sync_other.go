//go:build !linux && !windows

package heartbeat

import (
	"os"
	"time"
)

func syncData(f *os.File) error { return f.Sync() }

var start = time.Now()

// SinceBoot returns the time since this program started: this system gives no
// better clock.
func SinceBoot() (time.Duration, error) { return time.Since(start), nil }
