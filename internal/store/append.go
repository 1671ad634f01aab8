package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"regexp"
	"time"

	"belay/internal/event"
	"belay/internal/fault"
)

// sessionName is what a session may be called: it stands in addresses and
// file names.
var sessionName = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)

var (
	movedOn = fault.New(fault.Conflict, "The session has moved on since you saw this step.",
		"Look at the step that it is at now, then answer again.")
	noSession = fault.New(fault.NotFound, "There is no session with this name.", "Choose one from the list of sessions.")
)

// Append adds events to a session in one transaction that is on the disk when
// Append returns nil. The session must be at version expected; 0 makes a new
// session. Appending no events does nothing.
//
// It returns Conflict when the session is at another version or has another
// history, Corrupt when an event is not the one that was sealed, and
// Unavailable when the disk is full, or after a save that ended in doubt (see
// NeedsRestart). A ctx that ends while the transaction runs does not stop it.
func (l *Log) Append(ctx context.Context, session string, expected int64, events []event.Envelope) error {
	if len(events) == 0 {
		return nil
	}
	if err := checkName(session); err != nil {
		return fault.Wrap("store.Append", err)
	}
	var note lines
	for _, e := range events {
		note.event(e)
	}
	err := l.write(ctx, note, func(ctx context.Context, tx *sql.Tx) error {
		head, err := headOf(ctx, tx, session)
		if err != nil {
			return err
		}
		if head.Version != expected || head.Hash != events[0].Prev {
			return movedOn
		}
		if !follow(session, head.Version, head.Hash, events) {
			return fault.New(fault.Corrupt, "This entry changed before it was saved, so nothing was saved.",
				"Try again. If this comes back, the PC does not compute reliably at these settings.")
		}
		return insert(ctx, tx, head, events)
	})
	return fault.Wrap("store.Append", err)
}

func checkName(session string) error {
	if sessionName.MatchString(session) {
		return nil
	}
	return fault.New(fault.Invalid, "This cannot be the name of a session.",
		"Use 1 to 64 letters, digits, hyphens and underscores.")
}

// insert adds events behind head.
func insert(ctx context.Context, tx *sql.Tx, head event.Head, events []event.Envelope) error {
	first, last := events[0], events[len(events)-1]
	statement := `UPDATE session SET version = ?2, hash = ?3, updated = ?5,
		touched = (SELECT max(touched) FROM session) + 1 WHERE id = ?1`
	if head.Version == 0 {
		statement = `INSERT INTO session (id, version, hash, started, updated, touched)
			VALUES (?1, ?2, ?3, ?4, ?5, (SELECT coalesce(max(touched), 0) + 1 FROM session))`
	}
	if _, err := tx.ExecContext(ctx, statement, head.Session, last.Version, last.Hash,
		first.Time.UnixMicro(), last.Time.UnixMicro()); err != nil {
		return err
	}
	add, err := tx.PrepareContext(ctx, `INSERT INTO event (session, version, time, kind, format, body, prev, hash)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?)`)
	if err != nil {
		return err
	}
	for _, e := range events {
		if _, err := add.ExecContext(ctx, e.Session, e.Version, e.Time.Format(time.RFC3339Nano),
			string(e.Kind), e.Format, string(e.Body), e.Prev, e.Hash); err != nil {
			return errors.Join(err, add.Close())
		}
	}
	return add.Close()
}

// follow reports whether events are what event.Seal makes behind the event
// with this version and hash. It is false for a body that is not canonical.
func follow(session string, version int64, hash string, events []event.Envelope) bool {
	for _, e := range events {
		again, err := event.Seal(session, version, hash, e.Time, sealed{e.Kind, e.Body})
		if err != nil || e.Session != session || e.Version != again[0].Version ||
			e.Format != again[0].Format || e.Prev != hash || e.Hash != again[0].Hash {
			return false
		}
		version, hash = e.Version, e.Hash
	}
	return true
}

// sealed is the payload of an event that has its body already.
type sealed struct {
	kind event.Kind
	body json.RawMessage
}

func (s sealed) Kind() event.Kind             { return s.kind }
func (s sealed) MarshalJSON() ([]byte, error) { return s.body, nil }

// Delete removes a session and its events. Flows stay: other sessions may
// use them. It returns NotFound when there is no such session.
func (l *Log) Delete(ctx context.Context, session string) error {
	var note lines
	note.deleted(session)
	err := l.write(ctx, note, func(ctx context.Context, tx *sql.Tx) error {
		result, err := tx.ExecContext(ctx, "DELETE FROM session WHERE id = ?", session)
		if err != nil {
			return err
		}
		if n, err := result.RowsAffected(); err != nil || n == 0 {
			return errors.Join(noSession, err)
		}
		return nil
	})
	if err == nil {
		err = l.forget(ctx)
	}
	return fault.Wrap("store.Delete", err)
}

// PutFlow keeps a flow under hash, the hex SHA-256 of body. Keeping it twice
// is fine. It returns Corrupt when hash and body do not match.
func (l *Log) PutFlow(ctx context.Context, hash string, body []byte) error {
	if hashOf(body) != hash {
		return fault.Wrap("store.PutFlow", fault.New(fault.Corrupt,
			"The flow does not match its hash, so it was not saved.", "Start the session again."))
	}
	if have, err := l.Flow(ctx, hash); err == nil && len(have) == len(body) {
		return nil
	}
	var note lines
	note.flow(hash, body)
	err := l.write(ctx, note, func(ctx context.Context, tx *sql.Tx) error { return putFlow(ctx, tx, hash, body) })
	return fault.Wrap("store.PutFlow", err)
}

// putFlow also repairs a damaged copy.
func putFlow(ctx context.Context, tx *sql.Tx, hash string, body []byte) error {
	if body == nil {
		body = []byte{} // nil would be NULL
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO flow (hash, body) VALUES (?, ?)
		ON CONFLICT (hash) DO UPDATE SET body = excluded.body WHERE body IS NOT excluded.body`, hash, body)
	return err
}
