package store

import (
	"context"
	"database/sql"
	"errors"
	"io"
	"os"

	"belay/internal/event"
)

// repair puts together what both journals and, where that is not enough, the
// backups hold; keeps what was damaged under other names; and writes both
// journals anew. The witness comes first: once it is written it holds all, and
// a stop at any later point is repaired from it.
func (l *Log) repair(ctx context.Context, steps []migration, o opening) (size int64, err error) {
	if err := l.disconnect(true); err != nil {
		return 0, err
	}
	log, witness := hoardFile(ctx, l.path), hoardWitness(l.path+witnessSuffix)
	m, used := l.combine(ctx, log, witness)
	kept := l.keep()
	if err := kept.rescue(m.lost); err != nil {
		return 0, err
	}
	if err := kept.copy(witnessSuffix); err != nil {
		return 0, err
	}
	size, err = makeWitness(l.path+witnessSuffix, func(to io.Writer) error { return m.write(to, len(steps)) })
	if err != nil {
		return 0, witnessFault(err)
	}
	rebuild := o.log == nil || !m.sameAs(o.log)
	if rebuild {
		if err := l.build(ctx, steps, m); err != nil {
			return 0, err
		}
		if err := kept.move(); err != nil {
			return 0, err
		}
	}
	l.tell(o, m, used, rebuild, kept)
	if err := kept.report(l.notes); err != nil {
		return 0, err
	}
	if l.schema, err = inspect(ctx, l.path, steps); err != nil {
		return 0, err
	}
	return size, l.connect(ctx)
}

// combine merges the journals, and with the backups what they do not give.
func (l *Log) combine(ctx context.Context, log, witness *hoard) (m merged, backups int) {
	m = merge(log, witness, nil)
	if len(m.lost) == 0 && (witness.whole || len(log.ends) > 0) && !m.flowless() {
		return m, 0
	}
	var spare []*hoard
	for _, path := range l.backups() {
		if h := hoardFile(ctx, path); len(h.events) > 0 {
			spare = append(spare, h)
		}
	}
	return merge(log, witness, spare), len(spare)
}

// flowless reports whether a session's flow is missing.
func (m merged) flowless() bool {
	for _, events := range m.sessions {
		payload, err := event.Decode(events[0])
		started, ok := payload.(event.SessionStarted)
		if err == nil && ok {
			if _, there := m.flows[started.FlowHash]; !there {
				return true
			}
		}
	}
	return false
}

// sameAs reports whether x holds just what was put together.
func (m merged) sameAs(x *index) bool {
	y := newIndex()
	for _, events := range m.sessions {
		c := &chain{session: events[0].Session}
		for _, e := range events {
			c.hashes = append(c.hashes, digestOf(e.Hash))
		}
		y.sessions[c.session] = c
	}
	for hash := range m.flows {
		y.flows[hash] = true
	}
	return x.equal(y)
}

// build makes a new log with all of m beside the old one.
func (l *Log) build(ctx context.Context, steps []migration, m merged) (err error) {
	path := l.path + ".new"
	for _, suffix := range []string{"", "-wal", "-shm"} {
		if err := os.Remove(path + suffix); err != nil && !errors.Is(err, os.ErrNotExist) {
			return unwritable(path, err)
		}
	}
	if err := makeFile(path); err != nil {
		return unwritable(path, err)
	}
	db, err := connect(ctx, path, writerSettings, 1)
	if err != nil {
		return err
	}
	if err = fill(ctx, db, steps, m); err == nil {
		var x *index
		if x, err = survey(ctx, db); err == nil && !m.sameAs(x) {
			err = damaged
		}
	}
	return openFault(errors.Join(err, db.Close()))
}

func fill(ctx context.Context, db *sql.DB, steps []migration, m merged) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	err = climb(ctx, tx, steps, 0)
	for _, hash := range sorted(m.flows) {
		if err == nil {
			err = putFlow(ctx, tx, hash, m.flows[hash])
		}
	}
	for _, events := range m.sessions {
		if err == nil {
			err = insert(ctx, tx, event.Head{Session: events[0].Session}, events)
		}
	}
	if err != nil {
		return errors.Join(err, tx.Rollback())
	}
	return tx.Commit()
}
