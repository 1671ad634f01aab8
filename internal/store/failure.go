package store

import (
	"context"
	"errors"

	"github.com/mattn/go-sqlite3"

	"belay/internal/fault"
)

var (
	diskFull = fault.New(fault.Unavailable, "The disk is full, so nothing was saved.",
		"Free some space, then try again. What you saved before is kept.")
	inDoubt = fault.New(fault.Unavailable, "Belay cannot tell whether the last save reached the disk.",
		"Restart Belay. It then shows what was saved.")
	inUse = fault.New(fault.Unavailable, "Another program is using Belay's data, so nothing was saved.",
		"Close that program, then try again.")
	readFailed = fault.New(fault.Unavailable, "The disk did not give Belay's data back.",
		"Check the disk, then restart Belay.")
	damaged = fault.New(fault.Corrupt, "Belay's data file is damaged.",
		"Keep the file as it is, and restore a backup.")
	notOurs = fault.New(fault.Invalid, "This file is not one of Belay's.",
		"Choose another file or folder for Belay's data.")
	cancelled = fault.New(fault.Unavailable, "This was stopped before it was done.", "Try again.")
)

func unwritable(path string, err error) error {
	return fault.Newf(fault.Unavailable, "Check that the folder exists and that you may write to it.",
		"Belay cannot write its data here: %s", path).Because(err)
}

// sqliteError finds the error of SQLite in an error that is not a fault yet.
func sqliteError(err error) (sqlite3.Error, bool) {
	var f *fault.Error
	if errors.As(err, &f) {
		return sqlite3.Error{}, false
	}
	var s sqlite3.Error
	ok := errors.As(err, &s)
	return s, ok
}

// saveFault turns the error of a write into a fault, and stops all writes
// when the file may hold the write nevertheless.
//
// A full disk is found while pages are written, before the page that makes
// the transaction count, and a busy file before any: both leave nothing
// behind. Any other error of the commit may have come after that page. After
// an I/O error the system may take unwritten pages for written (Rebello et al.,
// USENIX ATC 2020), so one of those ends the writing at any point.
func (l *Log) saveFault(err error, committing bool) error {
	s, isSQLite := sqliteError(err)
	switch {
	case isSQLite && s.Code == sqlite3.ErrFull:
		l.full.Store(true)
		return diskFull.Because(err)
	case isSQLite && (s.Code == sqlite3.ErrBusy || s.Code == sqlite3.ErrLocked):
		return inUse.Because(err)
	case committing, isSQLite && s.Code == sqlite3.ErrIoErr:
		l.stopped.Store(true)
		return inDoubt.Because(err)
	}
	return readFault(err)
}

// readFault turns the error of a read into a fault.
func readFault(err error) error {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return cancelled.Because(err)
	}
	s, ok := sqliteError(err)
	if !ok {
		return err
	}
	switch s.Code {
	case sqlite3.ErrCorrupt, sqlite3.ErrNotADB:
		return damaged.Because(err)
	case sqlite3.ErrIoErr:
		return readFailed.Because(err)
	case sqlite3.ErrInterrupt:
		return cancelled.Because(err)
	}
	return err
}

// openFault turns the error of opening the file into a fault.
func openFault(err error) error {
	s, ok := sqliteError(err)
	if !ok {
		return err
	}
	switch s.Code {
	case sqlite3.ErrNotADB:
		return notOurs.Because(err)
	case sqlite3.ErrFull:
		return diskFull.Because(err)
	case sqlite3.ErrBusy, sqlite3.ErrLocked:
		return inUse.Because(err)
	case sqlite3.ErrReadonly, sqlite3.ErrCantOpen, sqlite3.ErrPerm, sqlite3.ErrAuth:
		return fault.New(fault.Unavailable, "Belay cannot write to its data file.",
			"Check that you may write to the file and its folder.").Because(err)
	}
	return readFault(err)
}
