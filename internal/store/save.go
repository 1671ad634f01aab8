package store

import (
	"context"
	"database/sql"
	"errors"
	"io"

	"belay/internal/fault"
)

// write runs change in one transaction and adds note to the witness. It
// returns nil once both are on the disk. Either a later Open finds both, or it
// makes them agree.
//
// When the disk is full it gives up the reserve and tries once more.
func (l *Log) write(ctx context.Context, note lines, change func(context.Context, *sql.Tx) error) error {
	err := l.transact(ctx, note, change)
	if l.full.Load() && l.releaseBallast() {
		err = l.transact(ctx, note, change)
	}
	return err
}

// transact is write without a second try. Without any lines, only the log is
// changed.
func (l *Log) transact(ctx context.Context, note lines, change func(context.Context, *sql.Tx) error) error {
	if err := ctx.Err(); err != nil {
		return cancelled.Because(err)
	}
	// The driver rolls back when a statement is cancelled, and would run the
	// next statement outside any transaction.
	ctx = context.WithoutCancel(ctx)
	l.saving.Lock()
	defer l.saving.Unlock()
	if l.NeedsRestart() {
		return inDoubt
	}
	l.full.Store(false)
	tx, err := l.writer.BeginTx(ctx, nil)
	if err != nil {
		return l.saveFault(err, false)
	}
	if err := change(ctx, tx); err != nil {
		err = l.saveFault(err, false)
		// After some errors SQLite has rolled back by itself, and says so.
		return errors.Join(err, tx.Rollback())
	}
	if len(note.texts) == 0 {
		if err := l.commit(tx); err != nil {
			return l.saveFault(err, true)
		}
		return nil
	}
	data, at := note.encode(), l.witness.size
	if err := l.witness.write(data); err != nil {
		return errors.Join(l.takeBack(err), tx.Rollback())
	}
	if err := l.commitBoth(tx, len(data)); err != nil {
		return err
	}
	return l.readBack(ctx, note, data, at)
}

// commitBoth brings both journals to the disk, side by side: a sync takes most
// of the time of a save.
func (l *Log) commitBoth(tx *sql.Tx, n int) error {
	synced := make(chan error, 1)
	go func() { synced <- l.witness.sync(l.witness.file) }()
	err := l.commit(tx)
	lost := <-synced
	switch {
	case err != nil && lost == nil:
		err = l.saveFault(err, true)
		if !l.NeedsRestart() { // the log is as before
			err = l.takeBack(err)
		}
		return err
	case lost != nil:
		l.stopped.Store(true)
		return inDoubt.Because(errors.Join(err, lost))
	}
	l.witness.keep(n)
	return nil
}

// takeBack takes from the witness what a save that failed has written there.
// Where that fails too, nobody knows what the witness holds.
func (l *Log) takeBack(cause error) error {
	if err := l.witness.undo(); err != nil {
		l.stopped.Store(true)
		return inDoubt.Because(errors.Join(cause, err))
	}
	var f *fault.Error
	switch {
	case errors.As(cause, &f):
		return f
	case isFull(cause):
		l.full.Store(true)
		return diskFull.Because(cause)
	}
	l.stopped.Store(true)
	return inDoubt.Because(cause)
}

// forget writes the witness anew without the sessions that were deleted, so
// that nothing of them stays.
func (l *Log) forget(ctx context.Context) error {
	ctx = context.WithoutCancel(ctx)
	l.saving.Lock()
	defer l.saving.Unlock()
	if l.NeedsRestart() {
		return nil // the next Open does it
	}
	w := l.witness
	view := viewWitness(w.path)
	if err := w.file.Close(); err != nil { // Windows replaces no open file
		l.stopped.Store(true)
		return inDoubt.Because(err)
	}
	size := w.size
	// When this fails, the old witness says that the session is deleted, and
	// the next time it is written anew it goes.
	_ = l.read(ctx, func(q queryer) error {
		n, err := makeWitness(w.path, func(to io.Writer) error { return dump(ctx, q, to, l.schema, view.deleted) })
		if err == nil {
			size = n
		}
		return err
	})
	again, err := openWitness(w.path, size)
	if err != nil {
		l.stopped.Store(true)
		return inDoubt.Because(err)
	}
	w.file, w.size = again.file, again.size
	return nil
}
