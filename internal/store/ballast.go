package store

import (
	"os"

	"belay/internal/fault"
)

// ballastSize is the space that is held for the last entries before the disk
// is full, in bytes. Chosen: some 3,000 entries.
const ballastSize = 2 << 20

// usedReserve is what a person is told while the reserve is gone.
var usedReserve = fault.New(fault.Unavailable, "The disk is full. Belay has used the space that it had kept for itself.",
	"Free some space on the disk soon. What you have saved is safe.")

func (l *Log) ballastPath() string { return l.path + ".ballast" }

// restoreBallast puts the reserve aside, if it is not there: 2 MiB, but no more
// than a quarter of what is free. Where that fails, Belay works without it.
func (l *Log) restoreBallast() {
	path := l.ballastPath()
	if size, err := sizeOf(path); err != nil || size > 0 {
		return
	}
	size := min(ballastSize, freeSpace(path)/4)
	if size < 1<<12 {
		return // less than a page is no help
	}
	if err := os.WriteFile(path, make([]byte, size), 0o600); err != nil {
		_ = os.Remove(path) // a part of it would only take space
	}
}

// releaseBallast gives the reserve up and reports whether there was one.
func (l *Log) releaseBallast() bool { return os.Remove(l.ballastPath()) == nil }

// Warning returns what a person should know of the log as it is now, or nil.
func (l *Log) Warning() *fault.Error {
	if l.NeedsRestart() {
		return inDoubt
	}
	if size, err := sizeOf(l.ballastPath()); err == nil && size == 0 {
		return usedReserve
	}
	return nil
}
