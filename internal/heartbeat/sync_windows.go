package heartbeat

import (
	"os"
	"time"

	"golang.org/x/sys/windows"
)

func syncData(f *os.File) error { return f.Sync() }

// SinceBoot returns the time since the operating system started, sleep
// included.
func SinceBoot() (time.Duration, error) { return windows.DurationSinceBoot(), nil }
