package store

import (
	"context"
	"errors"

	"belay/internal/event"
	"belay/internal/fault"
)

// Report is what Verify found.
type Report struct {
	Sessions int
	Events   int // in sound sessions
	Flows    int // sound ones
	Damage   []Damage
}

// Damage is one thing that fails its check.
type Damage struct {
	Session string // "" when it is the file or a flow
	Fault   *fault.Error
}

// Verify checks the structure of the file, every session's chain of events
// and every flow's hash. A damaged log gives the whole report, and as error
// the first damage in it, a Corrupt fault.
func (l *Log) Verify(ctx context.Context) (Report, error) {
	var report Report
	err := l.read(ctx, func(q queryer) (err error) {
		report, err = examine(ctx, q)
		return err
	})
	if err == nil && len(report.Damage) > 0 {
		err = report.Damage[0].Fault
	}
	return report, fault.Wrap("store.Verify", err)
}

// examine gives an error only when it cannot go on.
func examine(ctx context.Context, q queryer) (Report, error) {
	var r Report
	for _, step := range []func(context.Context, queryer) error{structure, r.sessions, r.strays, r.flows} {
		if err := r.note("", step(ctx, q)); err != nil {
			return r, err
		}
	}
	return r, nil
}

// note keeps damage in the report and returns any other error.
func (r *Report) note(session string, err error) error {
	err = readFault(err)
	var f *fault.Error
	if errors.As(err, &f) && f.Code == fault.Corrupt {
		r.Damage = append(r.Damage, Damage{session, f})
		return nil
	}
	return err
}

func (r *Report) sessions(ctx context.Context, q queryer) error {
	heads, err := allHeads(ctx, q)
	if err != nil {
		return err
	}
	r.Sessions = len(heads)
	for _, head := range heads {
		var events []event.Envelope
		events, err = wholeSession(ctx, q, head.Session)
		if err := r.note(head.Session, err); err != nil {
			return err
		}
		r.Events += len(events)
	}
	return nil
}

// strays finds events that belong to no session.
func (r *Report) strays(ctx context.Context, q queryer) error {
	names, err := texts(ctx, q, "SELECT DISTINCT session FROM event WHERE session NOT IN (SELECT id FROM session)")
	if err != nil {
		return err
	}
	for _, name := range names {
		r.Damage = append(r.Damage, Damage{name, fault.New(fault.Corrupt,
			"There are entries of a session that is not in the list.", "Keep the file as it is. Restore a backup.")})
	}
	return nil
}

func (r *Report) flows(ctx context.Context, q queryer) (err error) {
	rows, err := q.QueryContext(ctx, "SELECT hash, body FROM flow")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var hash string
		var body []byte
		if err := rows.Scan(&hash, &body); err != nil {
			return err
		}
		if hashOf(body) == hash {
			r.Flows++
			continue
		}
		r.Damage = append(r.Damage, Damage{"", fault.Newf(fault.Corrupt, "Restore a backup.",
			"A flow was changed after it was written: %.12s.", hash)})
	}
	return rows.Err()
}

// texts returns the only column of a query.
func texts(ctx context.Context, q queryer, query string) (lines []string, err error) {
	rows, err := q.QueryContext(ctx, query)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			return nil, err
		}
		lines = append(lines, line)
	}
	return lines, rows.Err()
}
