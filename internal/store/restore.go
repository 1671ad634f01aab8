package store

import (
	"context"
	"database/sql"
	"os"
	"slices"

	"belay/internal/event"
	"belay/internal/fault"
)

// Restored is what Restore did with the sessions of a backup.
type Restored struct {
	Added    []string // were not there
	Extended []string // were there up to an earlier entry
	Kept     []string // are there as they are in the backup, or further
	Differ   []string // went another way here, and were left as they are
}

// Restore takes in what a backup has and this log has not. It checks the
// whole backup first and never changes or shortens what is there. The backup
// is only read.
//
// It returns NotFound when there is no file, Invalid for a file that is not
// Belay's or that a newer Belay wrote, and Corrupt, with nothing taken in, for
// a damaged one.
func (l *Log) Restore(ctx context.Context, path string) (Restored, error) {
	r, err := l.restore(ctx, path)
	return r, fault.Wrap("store.Restore", err)
}

func (l *Log) restore(ctx context.Context, path string) (r Restored, err error) {
	if info, err := os.Stat(path); err != nil || info.IsDir() {
		return r, fault.Newf(fault.NotFound, "Name the file that belay backup wrote.", "There is no backup here: %s", path)
	}
	steps, err := readMigrations(embedded())
	if err != nil {
		return r, err
	}
	if schema, err := inspect(ctx, path, steps); err != nil {
		return r, err
	} else if schema == 0 {
		return r, notOurs
	}
	if _, err := verifyCopy(ctx, path); err != nil {
		return r, damagedBackup.Because(err)
	}
	h := hoardFile(ctx, path)
	if !h.whole {
		return r, damagedBackup
	}
	for _, hash := range sorted(h.flows) {
		if err := l.PutFlow(ctx, hash, h.flows[hash]); err != nil {
			return r, err
		}
	}
	for _, session := range h.order {
		events := chainFrom(session, []*hoard{h})
		if err := l.restoreSession(ctx, session, events, &r); err != nil {
			return r, err
		}
	}
	return r, nil
}

var damagedBackup = fault.New(fault.Corrupt, "This backup is damaged, so nothing was taken from it.", "Use another backup.")

func (l *Log) restoreSession(ctx context.Context, session string, events []event.Envelope, r *Restored) error {
	have, err := l.Events(ctx, session)
	if err != nil && !fault.Is(err, fault.NotFound) {
		return err
	}
	shared := min(len(have), len(events))
	if !slices.EqualFunc(have[:shared], events[:shared], func(a, b event.Envelope) bool { return a.Hash == b.Hash }) {
		r.Differ = append(r.Differ, session)
		return nil
	}
	if len(have) >= len(events) {
		r.Kept = append(r.Kept, session)
		return nil
	}
	more := events[len(have):]
	var note lines
	for _, e := range more {
		note.event(e)
	}
	err = l.write(ctx, note, func(ctx context.Context, tx *sql.Tx) error {
		head, err := headOf(ctx, tx, session)
		if err != nil {
			return err
		}
		if head.Version != int64(len(have)) || head.Hash != more[0].Prev {
			return movedOn
		}
		return insert(ctx, tx, head, more)
	})
	if err != nil {
		return err
	}
	if len(have) == 0 {
		r.Added = append(r.Added, session)
	} else {
		r.Extended = append(r.Extended, session)
	}
	return nil
}
