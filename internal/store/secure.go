package store

import (
	"context"
	"errors"
	"os"
	"path/filepath"

	"belay/internal/fault"
)

var (
	notOnDisk = fault.New(fault.Corrupt, "What is on the disk is not what was saved.",
		"Do not restart the PC yet. Restart Belay, which puts it right, and look at this step again.")
	checkpointBusy = fault.New(fault.Unavailable, "Belay could not finish saving, because its data is being read.",
		"Load this page again.")
)

// Secure makes all that is saved ready for the PC to go down. It moves
// everything from the write-ahead file into the log, reads both journals back
// from the disk and compares them, and replaces the oldest of three backups by
// a checked new one. It does nothing when nothing was saved since it was last
// done.
//
// It returns Corrupt when what is on the disk is not what was saved, and
// Unavailable when the disk is full or refuses. Then the PC should not go down.
func (l *Log) Secure(ctx context.Context) error {
	return fault.Wrap("store.Secure", l.secure(context.WithoutCancel(ctx)))
}

func (l *Log) secure(ctx context.Context) error {
	l.saving.Lock()
	defer l.saving.Unlock()
	switch {
	case l.NeedsRestart():
		return inDoubt
	case l.secured == l.witness.size:
		return nil
	}
	if err := l.checkpoint(ctx); err != nil {
		return err
	}
	x, err := l.surveyDisk(ctx, l.path)
	if err != nil {
		return err
	}
	if w := viewWitness(l.witness.path); w.err != nil || w.bad > 0 || w.torn || w.to(x) != same {
		return l.distrust(errors.Join(errors.New("the witness differs from the log"), w.err))
	}
	if err := l.rotate(ctx, x); err != nil {
		return err
	}
	l.restoreBallast()
	l.secured = l.witness.size
	return nil
}

// checkpoint moves the write-ahead file into the log and empties it.
func (l *Log) checkpoint(ctx context.Context) error {
	var busy, pages, moved int
	err := l.writer.QueryRowContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &pages, &moved)
	if err != nil {
		return l.saveFault(err, false)
	}
	if busy != 0 {
		return checkpointBusy
	}
	return nil
}

// distrust stops all writes: opened anew, the log is repaired.
func (l *Log) distrust(err error) error {
	l.stopped.Store(true)
	return notOnDisk.Because(err)
}

// surveyDisk checks a log as it is on the disk, not in the memory of SQLite
// or, where the system can forget it, of the system.
func (l *Log) surveyDisk(ctx context.Context, path string) (x *index, err error) {
	if err := forgetCached(path); err != nil {
		return nil, readFailed.Because(err)
	}
	db, err := connect(ctx, path, copySettings, 1)
	if err != nil {
		return nil, err
	}
	x, err = survey(ctx, db)
	if err == nil {
		err = structure(ctx, db)
	}
	err = readFault(errors.Join(err, db.Close()))
	if fault.Is(err, fault.Corrupt) {
		err = l.distrust(err)
	}
	return x, err
}

// rotate makes a checked backup with the content x, and drops the oldest.
func (l *Log) rotate(ctx context.Context, x *index) (err error) {
	slot := l.nextBackup()
	temp := l.path + ".backup-new"
	if err := os.Remove(temp); err != nil && !errors.Is(err, os.ErrNotExist) {
		return unwritable(temp, err)
	}
	file, err := os.OpenFile(temp, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		return unwritable(temp, err)
	}
	y, err := l.copyTo(ctx, file)
	if err == nil && !x.equal(y) {
		err = notOnDisk.Because(errors.New("the backup differs from the log"))
	}
	if err == nil {
		err = os.Rename(temp, slot)
	}
	if err == nil {
		if err := syncFolder(filepath.Dir(slot)); err != nil {
			return unwritable(slot, err)
		}
		return l.dropOldBackups()
	}
	var f *fault.Error
	if !errors.As(err, &f) {
		err = unwritable(slot, err)
	}
	return errors.Join(err, os.Remove(temp))
}
