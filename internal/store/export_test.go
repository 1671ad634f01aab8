package store

import (
	"context"
	"database/sql"
	"io/fs"
	"os"
)

// OpenWith opens a log with other migrations than this program's.
func OpenWith(path string, migrations fs.FS) (*Log, error) {
	return open(context.Background(), path, migrations)
}

// Connect opens one checked connection with other settings.
func Connect(path, settings string) error {
	db, err := connect(context.Background(), path, settings, 1)
	if err != nil {
		return err
	}
	return db.Close()
}

// The settings that Open uses.
const (
	WriterSettings = writerSettings
	ReaderSettings = readerSettings
)

// Migrations are this program's.
var Migrations = embedded

// HashOf is hex SHA-256.
var HashOf = hashOf

// OnCommit puts f in the place of the commit.
func (l *Log) OnCommit(f func(*sql.Tx) error) { l.commit = f }

// Exec runs a statement on the connection that writes.
func (l *Log) Exec(statement string) error {
	_, err := l.writer.Exec(statement)
	return err
}

// Loosen leaves out the syncs that keep a save: those of SQLite's write-ahead
// file and those of the witness.
func (l *Log) Loosen() error {
	l.witness.sync = func(*os.File) error { return nil }
	return l.Exec("PRAGMA synchronous=NORMAL")
}

// OnWitnessSync puts f in the place of the sync of the witness.
func (l *Log) OnWitnessSync(f func(*os.File) error) { l.witness.sync = f }
