// Package store keeps the events of all sessions in one SQLite file: an
// append-only log per session with an expected-version check, a hash chain
// that is checked whenever events are read, migrations, backup, and export and
// import of a session. docs/formats/store.md describes the file and says
// which failures of a save leave what behind.
package store

import (
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"sync/atomic"

	"belay/internal/fault"
)

// Log is an open log. It may be used from many goroutines.
type Log struct {
	path   string
	lock   *os.File
	writer *sql.DB // one connection, so that writes queue here
	reader *sql.DB
	schema int

	commit  func(*sql.Tx) error // (*sql.Tx).Commit, but for tests
	stopped atomic.Bool         // a save ended in doubt: no more writes
}

// Open opens the log at path, and makes the folder (0700) and the file (0600)
// when they are missing. It brings an older file to this program's schema,
// after a backup beside it. Until Close, no other process can open it.
//
// It returns an Unavailable fault when another process has the log (the
// text tells the address that SetAddress wrote there) or the disk refuses,
// Invalid for a file that is not Belay's or that a newer Belay wrote, Corrupt
// for a damaged one, and Internal when SQLite does not keep the settings that
// durability rests on.
func Open(path string) (*Log, error) {
	log, err := open(context.Background(), path, embedded())
	return log, fault.Wrap("store.Open", err)
}

func open(ctx context.Context, path string, migrations fs.FS) (_ *Log, err error) {
	path, err = prepare(path)
	if err != nil {
		return nil, err
	}
	log := &Log{path: path, commit: (*sql.Tx).Commit}
	if log.lock, err = openLock(path + ".lock"); err != nil {
		return nil, err
	}
	if err := log.start(ctx, migrations); err != nil {
		return nil, errors.Join(err, log.Close())
	}
	return log, nil
}

// start opens the file behind the lock and brings it up to date.
func (l *Log) start(ctx context.Context, migrations fs.FS) error {
	steps, err := readMigrations(migrations)
	if err != nil {
		return err
	}
	if err := makeFile(l.path); err != nil {
		return unwritable(l.path, err)
	}
	if l.schema, err = inspect(ctx, l.path, steps); err != nil {
		return err
	}
	if l.writer, err = connect(ctx, l.path, writerSettings, 1); err != nil {
		return err
	}
	if l.reader, err = connect(ctx, l.path, readerSettings, readers); err != nil {
		return err
	}
	return l.migrate(ctx, steps)
}

// prepare makes the folder and returns the one true path of the file.
func prepare(path string) (string, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return "", unwritable(path, err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return "", unwritable(path, err)
	}
	real, err := filepath.EvalSymlinks(path)
	if errors.Is(err, fs.ErrNotExist) {
		return path, nil
	}
	if err != nil {
		return "", unwritable(path, err)
	}
	return real, nil
}

// makeFile makes an empty file that only its owner can read, if there is none.
func makeFile(path string) error {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return errors.Join(file.Close(), syncFolder(filepath.Dir(path)))
}

// SchemaVersion returns the number of the newest migration in the file.
func (l *Log) SchemaVersion() int { return l.schema }

// NeedsRestart reports whether a save ended in doubt. The log then gives
// reads only; opening it anew shows whether that save is there.
func (l *Log) NeedsRestart() bool { return l.stopped.Load() }

// Close ends the log. After it, the log cannot be used.
func (l *Log) Close() error {
	order := []*sql.DB{l.reader, l.writer}
	if l.NeedsRestart() {
		// A reader that closes last cannot move pages from the write-ahead
		// file into the log, which is a write too.
		order = []*sql.DB{l.writer, l.reader}
	}
	var err error
	for _, db := range order {
		if db != nil {
			err = errors.Join(err, db.Close())
		}
	}
	return fault.Wrap("store.Close", errors.Join(err, l.lock.Close()))
}
