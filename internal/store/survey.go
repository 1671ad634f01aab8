package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"

	"belay/internal/event"
)

// digest is the hash of an event.
type digest [sha256.Size]byte

// index is what a journal holds, by hash: equal indexes mean equal content,
// since each journal has been checked against its own hashes or checksums.
type index struct {
	sessions map[string]*chain
	flows    map[string]bool
	odd      bool // a version is missing, or comes twice
}

// digestOf returns the hash that a text says, and another one for a text that
// says none.
func digestOf(text string) (d digest) {
	if n, err := hex.Decode(d[:], []byte(text)); err != nil || n != len(d) {
		return digest{}
	}
	return d
}

// chain is the events of one session, in order.
type chain struct {
	session string
	hashes  []digest
}

func newIndex() *index {
	return &index{sessions: map[string]*chain{}, flows: map[string]bool{}}
}

// equal reports whether both hold the same sessions, events and flows.
func (x *index) equal(y *index) bool {
	if x.odd || y.odd || len(x.sessions) != len(y.sessions) || len(x.flows) != len(y.flows) {
		return false
	}
	for session, mine := range x.sessions {
		other := y.sessions[session]
		if other == nil || !slices.Equal(mine.hashes, other.hashes) {
			return false
		}
	}
	for hash := range x.flows {
		if !y.flows[hash] {
			return false
		}
	}
	return true
}

// witnessView is a witness that has been read once.
type witnessView struct {
	scan
	*index
	schema  int
	deleted map[string]bool // sessions whose last word is that they were deleted
	last    []place         // what the last whole save says
}

// place is where a line of a journal belongs.
type place struct {
	session string
	version int64 // 0 for all of the session
	flow    string
}

// viewWitness reads the witness at path.
func viewWitness(path string) witnessView {
	v := witnessView{index: newIndex(), deleted: map[string]bool{}}
	save := -1
	v.scan = scanWitness(path, func(l line) {
		if l.save != save {
			save, v.last = l.save, v.last[:0]
		}
		v.take(l)
	})
	return v
}

func (v *witnessView) take(l line) {
	switch l.kind {
	case "schema":
		v.schema, _ = strconv.Atoi(string(l.fields[0]))
	case "event":
		c := v.sessions[string(l.fields[0])]
		if c == nil {
			c = &chain{session: string(l.fields[0])}
			v.sessions[c.session] = c
			delete(v.deleted, c.session)
		}
		version, _ := strconv.ParseInt(string(l.fields[1]), 10, 64)
		var hash digest
		_, err := hex.Decode(hash[:], l.fields[6])
		if err != nil || version != int64(len(c.hashes)+1) {
			v.odd = true
		}
		c.hashes = append(c.hashes, hash)
		v.last = append(v.last, place{session: c.session, version: version})
	case "flow":
		v.flows[string(l.fields[0])] = true
		v.last = append(v.last, place{flow: string(l.fields[0])})
	case "deleted":
		session := string(l.fields[0])
		delete(v.sessions, session)
		v.deleted[session] = true
		v.last = append(v.last, place{session: session})
	}
}

// survey checks a whole log through q, as Verify does but for the structure of
// the file, and returns what it holds. It returns a Corrupt fault at the first
// damage, without saying all.
func survey(ctx context.Context, q queryer) (*index, error) {
	x := newIndex()
	heads, err := allHeads(ctx, q)
	if err != nil {
		return nil, err
	}
	total := int64(0)
	for _, head := range heads {
		c, err := surveySession(ctx, q, head)
		if err != nil {
			return nil, err
		}
		x.sessions[head.Session] = c
		total += head.Version
	}
	var count int64 // of all events, those of no session too
	if err := q.QueryRowContext(ctx, "SELECT count(*) FROM event").Scan(&count); err != nil {
		return nil, err
	}
	if count != total {
		return nil, damaged
	}
	return x, surveyFlows(ctx, q, x)
}

// surveyStep is how many events one row of a survey holds. Chosen: a row of
// some 100 kB. Rows of single events take four times as long.
const surveyStep = 256

// surveySession checks one session as text that SQLite has put together: of
// each event the seven lines that are hashed, then its hash.
func surveySession(ctx context.Context, q queryer, head event.Head) (*chain, error) {
	s := sessionSurvey{chain: chain{session: head.Session}}
	for int64(len(s.hashes)) < head.Version {
		var text sql.RawBytes
		from := int64(len(s.hashes))
		err := oneRow(ctx, q, &text, `SELECT group_concat(concat_ws(?1, prev, session, version, time, kind, format, body, hash, ''), '')
			FROM (SELECT * FROM event WHERE session = ?2 AND version > ?3 AND version <= ?4 ORDER BY version)`,
			func() bool { return s.take(text) }, "\n", head.Session, from, from+surveyStep)
		if err != nil {
			return nil, err
		}
	}
	if int64(len(s.hashes)) != head.Version || s.prev != head.Hash ||
		!sameTime(s.first, head.Started) || !sameTime(s.last, head.Updated) {
		return nil, damaged
	}
	return &s.chain, nil
}

// oneRow reads a single value into text while check looks at it.
func oneRow(ctx context.Context, q queryer, text *sql.RawBytes, query string, check func() bool, args ...any) (err error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	if !rows.Next() {
		return errors.Join(damaged, rows.Err())
	}
	if err := rows.Scan(text); err != nil {
		return damaged.Because(err)
	}
	if !check() {
		return damaged
	}
	return rows.Err()
}

// sessionSurvey is a session that has been checked up to some event.
type sessionSurvey struct {
	chain
	prev, first, last string // hash of the newest event, time of the first and the newest
}

// take checks the next events and reports whether they are sound, and there.
func (s *sessionSurvey) take(text []byte) bool {
	if len(text) == 0 {
		return false
	}
	for len(text) > 0 {
		var fields [8][]byte
		var hashed, end int
		for i := range fields {
			n := bytes.IndexByte(text[end:], '\n')
			if n < 0 {
				return false
			}
			fields[i], hashed, end = text[end:end+n], end, end+n+1
		}
		sum := sha256.Sum256(text[:hashed])
		var want digest
		if _, err := hex.Decode(want[:], fields[7]); err != nil || sum != want {
			return false
		}
		version := len(s.hashes) + 1
		if string(fields[0]) != s.prev || string(fields[1]) != s.session || string(fields[2]) != strconv.Itoa(version) {
			return false
		}
		if version == 1 {
			s.first = string(fields[3])
		}
		s.hashes = append(s.hashes, want)
		s.prev, s.last = string(fields[7]), string(fields[3])
		text = text[end:]
	}
	return true
}

func sameTime(text string, want time.Time) bool {
	got, err := time.Parse(time.RFC3339Nano, text)
	return err == nil && got.Equal(want)
}

func surveyFlows(ctx context.Context, q queryer, x *index) (err error) {
	rows, err := q.QueryContext(ctx, "SELECT hash, body FROM flow")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	var body sql.RawBytes
	for rows.Next() {
		var hash string
		if err := rows.Scan(&hash, &body); err != nil {
			return damaged.Because(err)
		}
		if hashOf(body) != hash {
			return damaged
		}
		x.flows[hash] = true
	}
	return rows.Err()
}

// structure checks the structure of the file, of which SQLite finds some of
// the damage that no hash shows.
func structure(ctx context.Context, q queryer) error {
	lines, err := texts(ctx, q, "PRAGMA integrity_check")
	if err != nil || (len(lines) == 1 && lines[0] == "ok") {
		return err
	}
	return damaged.Because(errors.New(strings.Join(lines, "; ")))
}
