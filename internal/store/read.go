package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"time"

	"belay/internal/event"
	"belay/internal/fault"
)

// queryer is a pool, connection or transaction to read from.
type queryer interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// read runs look in one transaction, so that it sees one state of the log.
func (l *Log) read(ctx context.Context, look func(queryer) error) error {
	tx, err := l.reader.BeginTx(ctx, nil)
	if err != nil {
		return readFault(err)
	}
	err = look(tx)
	if end := tx.Rollback(); !errors.Is(end, sql.ErrTxDone) { // done by an ended ctx
		err = errors.Join(err, end)
	}
	return readFault(err)
}

// Events returns all events of a session in order, after checking them
// against each other and the head. It returns NotFound when there is no such
// session, and Corrupt with the number of the first bad entry.
func (l *Log) Events(ctx context.Context, session string) (events []event.Envelope, err error) {
	err = l.read(ctx, func(q queryer) error {
		events, err = wholeSession(ctx, q, session)
		return err
	})
	if err != nil {
		return nil, fault.Wrap("store.Events", err)
	}
	return events, nil
}

// EventsAfter returns the events of a session that follow version, checked
// like those of Events. It returns NotFound when there is no such session,
// and Conflict when version lies behind the session's end: the caller saw
// events that this log does not have.
func (l *Log) EventsAfter(ctx context.Context, session string, version int64) (events []event.Envelope, err error) {
	if version < 0 {
		return nil, fault.New(fault.Invalid, "A place in the session cannot be negative.", "Start at 0.")
	}
	err = l.read(ctx, func(q queryer) error {
		events, err = tail(ctx, q, session, version)
		return err
	})
	if err != nil {
		return nil, fault.Wrap("store.EventsAfter", err)
	}
	return events, nil
}

// tail checks only what it returns where it can; where that finds
// something, the whole session decides.
func tail(ctx context.Context, q queryer, session string, version int64) ([]event.Envelope, error) {
	head, err := existing(ctx, q, session)
	if err != nil {
		return nil, err
	}
	if version > head.Version {
		return nil, fault.Newf(fault.Conflict, "Load the page again.",
			"You have seen entry %d, but the session ends at %d.", version, head.Version)
	}
	from := max(version-1, 0) // with the event at version, which the rest links to
	rows, err := rowsAfter(ctx, q, session, from)
	if err != nil {
		return nil, err
	}
	events, hash := rows, ""
	if version > 0 && len(rows) > 0 {
		events, hash = rows[1:], rows[0].Hash
	}
	if follow(session, version, hash, events) && endsAt(head, rows) {
		return events, nil
	}
	whole, err := wholeSession(ctx, q, session)
	if err != nil {
		return nil, err
	}
	return whole[version:], nil
}

// wholeSession returns the checked events of a session.
func wholeSession(ctx context.Context, q queryer, session string) ([]event.Envelope, error) {
	head, err := existing(ctx, q, session)
	if err != nil {
		return nil, err
	}
	events, err := rowsAfter(ctx, q, session, 0)
	if err != nil {
		return nil, err
	}
	if err := event.Verify(events); err != nil {
		return nil, err
	}
	if !endsAt(head, events) {
		return nil, fault.Newf(fault.Corrupt, "Keep the file as it is. Restore a backup.",
			"Entry %d, the last one of this session, is not there.", head.Version)
	}
	return events, nil
}

func endsAt(head event.Head, events []event.Envelope) bool {
	if len(events) == 0 {
		return false
	}
	last := events[len(events)-1]
	return last.Version == head.Version && last.Hash == head.Hash
}

const eventColumns = "session, version, time, kind, format, body, prev, hash"

// rowsAfter reads events as they stand in the file. A field that cannot be
// what was written comes back in a form that fails the check of its hash.
func rowsAfter(ctx context.Context, q queryer, session string, version int64) (events []event.Envelope, err error) {
	rows, err := q.QueryContext(ctx, "SELECT "+eventColumns+` FROM event
		WHERE session = ? AND version > ? ORDER BY version`, session, version)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		e, err := scanRow(rows)
		if err != nil {
			return nil, fault.Newf(fault.Corrupt, "Keep the file as it is. Restore a backup.",
				"Entry %d of this session cannot be read.", version+int64(len(events))+1).Because(err)
		}
		events = append(events, e)
	}
	return events, rows.Err()
}

func scanRow(rows *sql.Rows) (e event.Envelope, err error) {
	var clock, body string
	err = rows.Scan(&e.Session, &e.Version, &clock, &e.Kind, &e.Format, &body, &e.Prev, &e.Hash)
	e.Time, _ = time.Parse(time.RFC3339Nano, clock) // the zero time fails the check
	e.Body = json.RawMessage(body)
	return e, err
}

const headColumns = "SELECT id, version, hash, started, updated FROM session "

// headOf returns the head of a session, at version 0 if there is none.
func headOf(ctx context.Context, q queryer, session string) (event.Head, error) {
	head, err := scanHead(q.QueryRowContext(ctx, headColumns+"WHERE id = ?", session))
	if errors.Is(err, sql.ErrNoRows) {
		return event.Head{Session: session}, nil
	}
	return head, err
}

func existing(ctx context.Context, q queryer, session string) (event.Head, error) {
	head, err := headOf(ctx, q, session)
	if err == nil && head.Version == 0 {
		err = noSession
	}
	return head, err
}

func scanHead(row interface{ Scan(...any) error }) (event.Head, error) {
	var h event.Head
	var started, updated int64
	err := row.Scan(&h.Session, &h.Version, &h.Hash, &started, &updated)
	h.Started, h.Updated = time.UnixMicro(started).UTC(), time.UnixMicro(updated).UTC()
	return h, err
}

// Heads returns the heads of all sessions, the last written first. The order
// does not depend on any clock.
func (l *Log) Heads(ctx context.Context) (heads []event.Head, err error) {
	err = l.read(ctx, func(q queryer) error {
		heads, err = allHeads(ctx, q)
		return err
	})
	return heads, fault.Wrap("store.Heads", err)
}

func allHeads(ctx context.Context, q queryer) (heads []event.Head, err error) {
	rows, err := q.QueryContext(ctx, headColumns+"ORDER BY touched DESC")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		head, err := scanHead(rows)
		if err != nil {
			return nil, err
		}
		heads = append(heads, head)
	}
	return heads, rows.Err()
}

// Flow returns the flow with this hash. It returns NotFound when there is
// none, and Corrupt when what is stored has another hash.
func (l *Log) Flow(ctx context.Context, hash string) ([]byte, error) {
	var body []byte
	err := l.reader.QueryRowContext(ctx, "SELECT body FROM flow WHERE hash = ?", hash).Scan(&body)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		err = fault.New(fault.NotFound, "The flow of this session is not there.", "Restore a backup, or start a new session.")
	case err != nil:
		err = readFault(err)
	case hashOf(body) != hash:
		err = fault.New(fault.Corrupt, "The flow of this session was changed after it was written.",
			"Restore a backup, or start a new session.")
	default:
		return body, nil
	}
	return nil, fault.Wrap("store.Flow", err)
}
