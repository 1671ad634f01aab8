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
	"sync"
	"sync/atomic"

	"belay/internal/fault"
)

// Log is an open log. It may be used from many goroutines.
type Log struct {
	path    string
	lock    *os.File
	writer  *sql.DB // one connection
	reader  *sql.DB
	schema  int
	witness *witness
	notes   []*fault.Error // what Open found and did
	earlier []*fault.Error // the same of earlier times
	secured int64          // size of the witness when Secure was last done

	saving  sync.Mutex          // held by the one save under way
	commit  func(*sql.Tx) error // (*sql.Tx).Commit, but for tests
	stopped atomic.Bool         // a save ended in doubt: no more writes
	cached  atomic.Bool         // see ReadsCached
	full    atomic.Bool         // the newest save found the disk full
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

// start looks at the files behind the lock, repairs what is damaged and brings
// the log up to date.
func (l *Log) start(ctx context.Context, migrations fs.FS) error {
	steps, err := readMigrations(migrations)
	if err != nil {
		return err
	}
	l.readReports()
	o, err := l.look(ctx, steps)
	if err != nil {
		return err
	}
	var size int64 // of the witness that counts
	if o.fresh {
		size, err = l.begin(ctx, steps)
	} else {
		size, err = l.reconcile(ctx, steps, o)
	}
	if err != nil {
		return err
	}
	if l.witness, err = openWitness(l.path+witnessSuffix, size); err != nil {
		return witnessFault(err)
	}
	l.restoreBallast()
	return l.migrate(ctx, steps)
}

// begin makes an empty log and its witness.
func (l *Log) begin(ctx context.Context, steps []migration) (int64, error) {
	if err := makeFile(l.path); err != nil {
		return 0, unwritable(l.path, err)
	}
	if l.reader == nil {
		if err := l.connect(ctx); err != nil {
			return 0, err
		}
	}
	if err := l.transact(ctx, lines{}, func(ctx context.Context, tx *sql.Tx) error { return climb(ctx, tx, steps, 0) }); err != nil {
		return 0, err
	}
	l.schema = len(steps)
	return l.rewriteWitness(ctx, nil)
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
	err := l.disconnect(l.NeedsRestart())
	if l.witness != nil {
		err = errors.Join(err, l.witness.file.Close())
	}
	return fault.Wrap("store.Close", errors.Join(err, l.lock.Close()))
}
