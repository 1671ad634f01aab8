package store

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"slices"

	"belay/internal/fault"
)

// opening is what Open finds before it changes anything.
type opening struct {
	witness witnessView
	fresh   bool   // there is nothing yet
	log     *index // nil when the log is damaged or missing
	logErr  error  // what is wrong with it
}

// look looks at both journals, opens the connections to a log that can be
// opened, and reads everything in both journals once. It returns a fault when
// Belay should not touch what it finds.
func (l *Log) look(ctx context.Context, steps []migration) (o opening, err error) {
	seen := make(chan witnessView, 1)
	go func() { seen <- viewWitness(l.path + witnessSuffix) }()
	size, err := sizeOf(l.path)
	o.logErr = err
	if err == nil && size > 0 {
		if l.schema, o.logErr = inspect(ctx, l.path, steps); o.logErr == nil {
			o.logErr = l.connect(ctx)
		}
		if o.logErr == nil && l.schema > 0 {
			o.log, o.logErr = l.surveyAll(ctx)
		}
	}
	o.witness = <-seen
	backups := len(l.backups()) > 0
	if o.logErr != nil {
		return o, l.mayRepair(o, o.witness.found || backups, len(steps))
	}
	if l.schema > 0 {
		return o, nil
	}
	o.fresh = !o.witness.holds() && !backups
	if !o.fresh {
		o.logErr = fault.New(fault.Corrupt, "Belay's data file is empty or missing.", "")
	}
	return o, nil
}

// holds reports whether there is anything in the witness that a log should have.
func (v witnessView) holds() bool {
	return len(v.sessions) > 0 || len(v.flows) > 0 || v.bad > 0 || v.err != nil
}

// mayRepair returns the fault that keeps Belay from repairing the log: it
// cannot be reached, a newer Belay wrote it, or there is nothing to repair it
// from and it may be another program's.
func (l *Log) mayRepair(o opening, spare bool, known int) error {
	switch fault.CodeOf(o.logErr) {
	case fault.Corrupt:
		if spare || l.reader != nil {
			return nil
		}
	case fault.Invalid:
		if spare && o.witness.schema <= known {
			return nil // a header that a flipped bit made a stranger's
		}
	}
	return o.logErr
}

// sizeOf returns 0 for a file that is missing.
func sizeOf(path string) (int64, error) {
	info, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, unwritable(path, err)
	}
	return info.Size(), nil
}

// connect opens the connections to the log.
func (l *Log) connect(ctx context.Context) (err error) {
	if l.writer, err = connect(ctx, l.path, writerSettings, 1); err != nil {
		return err
	}
	l.reader, err = connect(ctx, l.path, readerSettings, readers)
	return err
}

// disconnect closes them. Untouched, the last to close is one that cannot move
// pages from the write-ahead file into the log, which is a write too.
func (l *Log) disconnect(untouched bool) error {
	order := []**sql.DB{&l.reader, &l.writer}
	if untouched {
		slices.Reverse(order)
	}
	var err error
	for _, p := range order {
		if *p != nil {
			err = errors.Join(err, (*p).Close())
			*p = nil
		}
	}
	return err
}

// surveyAll checks the whole log once: its hashes, and beside that its structure.
func (l *Log) surveyAll(ctx context.Context) (x *index, err error) {
	sound := make(chan error, 1)
	go func() {
		sound <- l.read(ctx, func(q queryer) error { return structure(ctx, q) })
	}()
	err = l.read(ctx, func(q queryer) error {
		x, err = survey(ctx, q)
		return err
	})
	if err = errors.Join(err, <-sound); err != nil {
		return nil, err
	}
	return x, nil
}
