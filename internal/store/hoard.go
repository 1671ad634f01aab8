package store

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"slices"

	"belay/internal/event"
)

// hoard is everything readable in one journal or backup. Each event in it is
// sound by its own hash; whether the events follow each other is seen later.
type hoard struct {
	events  map[string]map[int64]event.Envelope
	ends    map[string]int64 // where the journal says that a session ends
	order   []string         // sessions by their last write, as far as known
	flows   map[string][]byte
	deleted map[string]bool // sessions that were deleted, and not made again
	whole   bool            // nothing in it was damaged
}

func newHoard() *hoard {
	return &hoard{
		events: map[string]map[int64]event.Envelope{}, ends: map[string]int64{}, flows: map[string][]byte{},
		deleted: map[string]bool{},
	}
}

// add takes an event in if it is what was sealed.
func (h *hoard) add(e event.Envelope) {
	if !e.Sound() {
		h.whole = false
		return
	}
	if h.events[e.Session] == nil {
		h.events[e.Session] = map[int64]event.Envelope{}
	}
	h.events[e.Session][e.Version] = e
	h.ends[e.Session] = max(h.ends[e.Session], e.Version)
}

func (h *hoard) addFlow(hash string, body []byte) {
	if hashOf(body) != hash {
		h.whole = false
		return
	}
	h.flows[hash] = body
}

// wrote moves a session to the end of the order.
func (h *hoard) wrote(session string) {
	if n := len(h.order); n > 0 && h.order[n-1] == session {
		return
	}
	h.order = slices.DeleteFunc(h.order, func(s string) bool { return s == session })
	h.order = append(h.order, session)
}

// hoardWitness reads all of a witness.
func hoardWitness(path string) *hoard {
	h := newHoard()
	h.whole = true
	s := scanWitness(path, func(l line) {
		switch l.kind {
		case "event":
			e := l.event()
			h.add(e)
			h.wrote(e.Session)
			delete(h.deleted, e.Session)
		case "flow":
			h.addFlow(l.flow())
		case "deleted":
			session := string(l.fields[0])
			delete(h.events, session)
			delete(h.ends, session)
			h.order = slices.DeleteFunc(h.order, func(s string) bool { return s == session })
			h.deleted[session] = true
		}
	})
	h.whole = h.whole && s.found && s.err == nil && s.bad == 0
	return h
}

// hoardFile reads what can be read of a log or a backup. What cannot is left
// out.
func hoardFile(ctx context.Context, path string) *hoard {
	h := newHoard()
	db, err := sql.Open("sqlite3", dsnOf(path, "mode=ro&_busy_timeout=5000"))
	if err != nil {
		return h
	}
	defer db.Close()
	heads, err := allHeads(ctx, db)
	h.whole = err == nil
	for _, head := range slices.Backward(heads) { // the oldest first
		h.order = append(h.order, head.Session)
		h.ends[head.Session] = head.Version
	}
	// From either end, so that one bad page hides only what is on it.
	if err := h.rows(ctx, db, "ORDER BY session, version"); err != nil {
		h.whole = false
		_ = h.rows(ctx, db, "ORDER BY session DESC, version DESC") // it ends at the same page
	}
	if err := h.readFlows(ctx, db); err != nil {
		h.whole = false
	}
	return h
}

func (h *hoard) rows(ctx context.Context, db *sql.DB, order string) (err error) {
	rows, err := db.QueryContext(ctx, "SELECT "+eventColumns+" FROM event "+order)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		e, err := scanRow(rows)
		if err != nil {
			h.whole = false // and perhaps the next row is sound
			continue
		}
		h.add(e)
	}
	return rows.Err()
}

func (h *hoard) readFlows(ctx context.Context, db queryer) (err error) {
	rows, err := db.QueryContext(ctx, "SELECT hash, body FROM flow")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var hash string
		var body []byte
		if rows.Scan(&hash, &body) != nil {
			h.whole = false
			continue
		}
		h.addFlow(hash, body)
	}
	return rows.Err()
}

// loss is an entry that no journal and no backup holds in a sound form.
type loss struct {
	session string
	version int64
	rest    []event.Envelope // sound entries behind it, which nothing leads to
}

// merged is the best that several hoards give together.
type merged struct {
	sessions [][]event.Envelope // whole chains from the first event on, the last written last
	flows    map[string][]byte
	deleted  map[string]bool
	lost     []loss
}

// merge puts the log and the witness together, and takes what neither has from
// the backups, newest first. Where two sources differ although both are sound,
// the longer history counts, and the witness's when they are equally long.
// Sessions that only backups have are taken when neither journal can tell
// whether they were deleted.
func merge(log, witness *hoard, backups []*hoard) merged {
	m := merged{flows: map[string][]byte{}, deleted: witness.deleted}
	sources := append([]*hoard{witness, log}, backups...)
	listed := sources
	if witness.whole || len(log.ends) > 0 {
		listed = sources[:2]
	}
	for _, s := range slices.Backward(sources) {
		for hash, body := range s.flows {
			m.flows[hash] = body
		}
	}
	for _, session := range sessionsOf(listed) {
		if witness.deleted[session] && (witness.whole || log.ends[session] == 0) {
			continue // the log may not have heard of it yet, nor an old backup
		}
		chain, rest := bestChain(session, sources)
		if len(chain) > 0 {
			m.sessions = append(m.sessions, chain)
		}
		if end := max(log.ends[session], witness.ends[session]); int64(len(chain)) < end {
			m.lost = append(m.lost, loss{session, int64(len(chain)) + 1, rest})
		}
	}
	return m
}

// sessionsOf lists the sessions of all sources, by their last write.
func sessionsOf(sources []*hoard) []string {
	rank := map[string]int{}
	var all []string
	for _, s := range sources {
		for i, session := range s.order {
			if _, seen := rank[session]; !seen {
				rank[session] = i
				all = append(all, session)
			}
		}
		for session := range s.events {
			if _, seen := rank[session]; !seen {
				rank[session] = -1
				all = append(all, session)
			}
		}
	}
	slices.SortStableFunc(all, func(a, b string) int {
		return cmp.Or(cmp.Compare(rank[a], rank[b]), cmp.Compare(a, b))
	})
	return all
}

// bestChain returns the longest chain from a session's first event on, and the
// sound events behind its end.
func bestChain(session string, sources []*hoard) (best, rest []event.Envelope) {
	for first := range sources {
		order := append([]*hoard{sources[first]}, sources...)
		if chain := chainFrom(session, order); len(chain) > len(best) {
			best = chain
		}
	}
	seen := map[string]bool{}
	for _, s := range sources {
		for version, e := range s.events[session] {
			if version > int64(len(best)) && !seen[e.Hash] {
				seen[e.Hash] = true
				rest = append(rest, e)
			}
		}
	}
	slices.SortFunc(rest, func(a, b event.Envelope) int {
		return cmp.Or(cmp.Compare(a.Version, b.Version), cmp.Compare(a.Hash, b.Hash))
	})
	return best, rest
}

// chainFrom takes each event from the first source that has one that follows.
func chainFrom(session string, sources []*hoard) (chain []event.Envelope) {
	prev := ""
next:
	for {
		for _, s := range sources {
			e, ok := s.events[session][int64(len(chain)+1)]
			if ok && e.Prev == prev {
				chain, prev = append(chain, e), e.Hash
				continue next
			}
		}
		return chain
	}
}
