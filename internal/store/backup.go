package store

import (
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"belay/internal/fault"
)

// Backup writes a copy of the whole log to path while the log is in use. The
// copy is checked, and on the disk, before it gets its name. It returns
// Conflict when path is taken, and Corrupt, writing nothing, when the copy
// fails its check.
func (l *Log) Backup(ctx context.Context, path string) error {
	return fault.Wrap("store.Backup", l.backup(ctx, path))
}

func (l *Log) backup(ctx context.Context, path string) error {
	if err := free(path); err != nil {
		return err
	}
	folder := filepath.Dir(path)
	file, err := os.CreateTemp(folder, ".backup-*.tmp")
	if err != nil {
		return unwritable(path, err)
	}
	temp := file.Name()
	if _, err = l.copyTo(ctx, file); err == nil {
		err = free(path)
	}
	if err == nil {
		if err = os.Rename(temp, path); err != nil {
			err = unwritable(path, err)
		}
	}
	if err != nil {
		return errors.Join(err, os.Remove(temp))
	}
	if err := syncFolder(folder); err != nil {
		return fault.New(fault.Unavailable, "The backup is written, but the disk did not confirm it.",
			"Make another backup, on another disk if you can.").Because(err)
	}
	return nil
}

// copyTo fills an empty file with a checked copy of the log, closes it and
// returns what it holds.
func (l *Log) copyTo(ctx context.Context, file *os.File) (*index, error) {
	err := l.vacuumInto(ctx, file.Name())
	if err == nil {
		err = file.Sync()
	}
	var x *index
	if err == nil {
		x, err = verifyCopy(ctx, file.Name())
	}
	return x, openFault(errors.Join(err, file.Close()))
}

func (l *Log) vacuumInto(ctx context.Context, path string) error {
	db, err := connect(ctx, l.path, copySettings, 1)
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, "VACUUM INTO ?", path)
	return errors.Join(err, db.Close())
}

// free returns a Conflict fault when there is a file at path.
func free(path string) error {
	_, err := os.Lstat(path)
	if err == nil {
		return fault.Newf(fault.Conflict, "Choose another name.", "There is already a file of this name: %s", path)
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return unwritable(path, err)
	}
	return nil
}

// verifyCopy checks a finished copy, as it is on the disk, through a connection
// of its own.
func verifyCopy(ctx context.Context, path string) (x *index, err error) {
	if err := forgetCached(path); err != nil {
		return nil, readFailed.Because(err)
	}
	db, err := sql.Open("sqlite3", dsnOf(path, "mode=ro"))
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	x, err = survey(ctx, db)
	if err == nil {
		err = structure(ctx, db)
	}
	if err = readFault(err); fault.Is(err, fault.Corrupt) {
		return nil, fault.New(fault.Corrupt, "The backup failed its check, so it was not kept.",
			"Check Belay's data first, then make the backup again.").Because(err)
	}
	return x, err
}
