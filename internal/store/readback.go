package store

import (
	"bytes"
	"context"
	"errors"
	"slices"

	"belay/internal/event"
	"belay/internal/fault"
)

var (
	wrongResult = fault.New(fault.Corrupt, "This PC read the same entry several times and got different results.",
		"The PC does not compute reliably at these settings. Go back to the last settings that held, and restart Belay.")
	wrongEntry = fault.New(fault.Corrupt, "An entry was read back and is not what was saved.",
		"Restart Belay, which puts it right. If this comes back, the PC or its disk makes errors at these settings.")
)

// readTries is how often an entry that read back wrong is read again. Chosen.
const readTries = 3

// readBack reads events that were just saved on another connection and hashes
// them again. A step that ends is also read back from the disk. When something
// differs, nothing more is written: opened anew, the log is repaired.
func (l *Log) readBack(ctx context.Context, note lines, data []byte, from int64) error {
	events := note.events
	if len(events) == 0 {
		return nil
	}
	if err := l.rereadRows(ctx, events); err != nil {
		l.stopped.Store(true)
		return err
	}
	if !slices.ContainsFunc(events, func(e event.Envelope) bool { return e.Kind == event.Moved{}.Kind() }) {
		return nil
	}
	got, direct, err := readDirect(l.witness.path, from, len(data))
	l.cached.Store(!direct)
	if err == nil && bytes.Equal(got, data) {
		return nil
	}
	l.stopped.Store(true)
	return wrongEntry.Because(errors.Join(errors.New("the witness differs on the disk"), err))
}

// rereadRows compares the rows with what was saved.
func (l *Log) rereadRows(ctx context.Context, events []event.Envelope) error {
	first := events[0]
	var seen [][]event.Envelope
	for range readTries {
		var rows []event.Envelope
		err := l.read(ctx, func(q queryer) (err error) {
			rows, err = rowsAfter(ctx, q, first.Session, first.Version-1)
			return err
		})
		if err != nil {
			return inDoubt.Because(err)
		}
		if sameEvents(rows, events) && !slices.ContainsFunc(rows, func(e event.Envelope) bool { return !e.Sound() }) {
			return nil
		}
		seen = append(seen, rows)
	}
	for _, rows := range seen[1:] {
		if !sameEvents(rows, seen[0]) {
			return wrongResult
		}
	}
	return wrongEntry
}

func sameEvents(a, b []event.Envelope) bool {
	return slices.EqualFunc(a, b, func(x, y event.Envelope) bool {
		return x.Session == y.Session && x.Version == y.Version && x.Time.Equal(y.Time) && x.Kind == y.Kind &&
			x.Format == y.Format && x.Prev == y.Prev && x.Hash == y.Hash && bytes.Equal(x.Body, y.Body)
	})
}

// ReadsCached reports whether the newest check of a step's end could not get
// past the system's memory, so that it says nothing of the disk.
func (l *Log) ReadsCached() bool { return l.cached.Load() }
