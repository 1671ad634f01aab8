package store

import (
	"context"
	"database/sql"
	"slices"

	"belay/internal/event"
)

// witnessSuffix names the witness beside the log.
const witnessSuffix = ".witness"

// reconcile makes log and witness hold the same. It is the ladder of repair:
// nothing to do; one save that a stop of the PC left in one journal only; what
// one journal has lost, from the other; what both have lost, from a backup;
// and else the log goes on without it, and the rest is kept in a file.
//
// It returns how much of the witness counts: what is behind that is half a save.
func (l *Log) reconcile(ctx context.Context, steps []migration, o opening) (int64, error) {
	w := o.witness
	switch {
	case o.log == nil:
		return l.repair(ctx, steps, o)
	case !w.found:
		if len(o.log.sessions) > 0 {
			l.note(noWitness)
		}
		return l.rewriteWitness(ctx, nil)
	case w.err != nil || w.bad > 0:
		return l.repair(ctx, steps, o)
	}
	if w.spoilt {
		l.note(spoiltEnd)
	}
	switch w.to(o.log) {
	case same:
		if w.open {
			return l.rewriteWitness(ctx, w.deleted)
		}
		return w.size, nil
	case ahead:
		return w.size, l.replayLast(ctx, w)
	case behind:
		return l.rewriteWitness(ctx, w.deleted)
	}
	return l.repair(ctx, steps, o)
}

// relation is how a sound witness stands to a sound log.
type relation int

const (
	same   relation = iota
	ahead           // its last save is not in the log: the PC stopped between the two
	behind          // the log has one save more
	other           // more than that
)

// to compares the witness with the log.
func (v witnessView) to(x *index) relation {
	if v.odd {
		return other
	}
	if v.equal(x) {
		return same
	}
	without := v.withoutLast()
	switch {
	case without != nil && without.equal(x):
		return ahead
	case v.oneMore(x):
		return behind
	}
	return other
}

// withoutLast returns the witness's index as it was before its last save, or
// nil when that cannot be told.
func (v witnessView) withoutLast() *index {
	x := newIndex()
	for session, c := range v.sessions {
		x.sessions[session] = c
	}
	for hash := range v.flows {
		x.flows[hash] = true
	}
	for _, p := range slices.Backward(v.last) {
		switch {
		case p.flow != "":
			delete(x.flows, p.flow)
		case p.version == 0:
			return nil
		case p.version == 1:
			delete(x.sessions, p.session)
		default:
			c := *x.sessions[p.session]
			c.hashes = c.hashes[:p.version-1]
			x.sessions[p.session] = &c
		}
	}
	return x
}

// oneMore reports whether x has what one save adds: events at the end of one
// session, or a flow, or both.
func (v witnessView) oneMore(x *index) bool {
	longer, flows := 0, 0
	for session, c := range x.sessions {
		mine := v.sessions[session]
		switch {
		case mine == nil:
			longer++
		case slices.Equal(mine.hashes, c.hashes):
		case len(mine.hashes) < len(c.hashes) && slices.Equal(mine.hashes, c.hashes[:len(mine.hashes)]):
			longer++
		default:
			return false
		}
	}
	for hash := range x.flows {
		if !v.flows[hash] {
			flows++
		}
	}
	for session := range v.sessions {
		if x.sessions[session] == nil {
			return false
		}
	}
	for hash := range v.flows {
		if !x.flows[hash] {
			return false
		}
	}
	return longer <= 1 && flows <= 1
}

// replayLast carries out the last save of the witness on the log.
func (l *Log) replayLast(ctx context.Context, w witnessView) error {
	h := hoardWitness(l.path + witnessSuffix)
	return l.transact(ctx, lines{}, func(ctx context.Context, tx *sql.Tx) error {
		var events []event.Envelope
		for _, p := range w.last {
			if p.flow != "" {
				if err := putFlow(ctx, tx, p.flow, h.flows[p.flow]); err != nil {
					return err
				}
				continue
			}
			events = append(events, h.events[p.session][p.version])
		}
		if len(events) == 0 {
			return nil
		}
		head, err := headOf(ctx, tx, events[0].Session)
		if err != nil {
			return err
		}
		return insert(ctx, tx, head, events)
	})
}
