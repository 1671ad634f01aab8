// Package event holds what is written to a session's log: the kinds of
// event, their envelope, the hash chain over them and their codec.
//
// Events never change their meaning. A new meaning gets a new payload version
// and an upgrade function; docs/formats/event.md describes the format.
package event

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"strconv"
	"time"

	"belay/internal/fault"
)

// Kind names what happened, in the past tense.
type Kind string

// Envelope is one committed event of one session.
type Envelope struct {
	Session string          `json:"session"`
	Version int64           `json:"version"` // 1, 2, 3, … without gaps within the session
	Time    time.Time       `json:"time"`    // for display only; order is by Version
	Kind    Kind            `json:"kind"`
	Format  int             `json:"format"` // version of the payload's format
	Body    json.RawMessage `json:"body"`   // canonical JSON of the payload
	Prev    string          `json:"prev"`   // hash of the event before, "" for the first
	Hash    string          `json:"hash"`
}

// Head is the newest entry of one session's log.
type Head struct {
	Session string
	Version int64
	Hash    string
	Started time.Time
	Updated time.Time
}

// Payload is the body of an event.
type Payload interface{ Kind() Kind }

// Seal makes the envelopes that put payloads behind the event with version
// and hash prev (0 and "" for a new session), all at the time now.
func Seal(session string, version int64, prev string, now time.Time, payloads ...Payload) ([]Envelope, error) {
	out := make([]Envelope, 0, len(payloads))
	for _, p := range payloads {
		body, err := json.Marshal(p)
		if err != nil {
			return nil, fault.Wrap("event.Seal", err)
		}
		version++
		e := Envelope{
			Session: session, Version: version, Time: now.UTC().Truncate(time.Microsecond),
			Kind: p.Kind(), Format: 1, Body: body, Prev: prev,
		}
		e.Hash = e.computeHash()
		prev = e.Hash
		out = append(out, e)
	}
	return out, nil
}

// computeHash returns SHA-256 over the previous hash and every field of the
// event, each ended by a newline, which no field but the JSON body may hold,
// and JSON never holds a bare one.
func (e Envelope) computeHash() string {
	h := sha256.New()
	for _, part := range []string{
		e.Prev, e.Session, strconv.FormatInt(e.Version, 10), e.Time.Format(time.RFC3339Nano),
		string(e.Kind), strconv.Itoa(e.Format), string(e.Body),
	} {
		h.Write([]byte(part))
		h.Write([]byte{'\n'})
	}
	return hex.EncodeToString(h.Sum(nil))
}

// Sound reports whether the event is as it was sealed. Whether it follows the
// event before it is for Verify to tell.
func (e Envelope) Sound() bool { return e.Hash == e.computeHash() }

// Verify checks versions, links and hashes of a whole session's events in
// order. It returns a Corrupt fault that names the first bad event.
func Verify(events []Envelope) error {
	prev := ""
	for i, e := range events {
		var wrong string
		switch {
		case e.Version != int64(i+1):
			wrong = "is out of order"
		case e.Prev != prev:
			wrong = "does not follow the entry before it"
		case e.Hash != e.computeHash():
			wrong = "was changed after it was written"
		}
		if wrong != "" {
			return fault.Newf(fault.Corrupt,
				"Keep the file as it is. Export the session, or restore a backup.",
				"Entry %d of this session %s.", i+1, wrong)
		}
		prev = e.Hash
	}
	return nil
}

// Decode returns the payload of e. A kind or format that this program does
// not know gives an Invalid fault: a newer program wrote it.
func Decode(e Envelope) (Payload, error) {
	make, ok := kinds[e.Kind]
	if !ok || e.Format != 1 {
		return nil, fault.Newf(fault.Invalid, "Open this session with the newer Belay that wrote it.",
			"Entry %d is of a kind that this Belay does not know: %s, format %d.", e.Version, e.Kind, e.Format)
	}
	p, err := make(e.Body)
	if err != nil {
		return nil, fault.Newf(fault.Corrupt, "Export the session, or restore a backup.",
			"Entry %d (%s) cannot be read.", e.Version, e.Kind).Because(err)
	}
	return p, nil
}

func decodeAs[P Payload](body json.RawMessage) (Payload, error) {
	var p P
	err := json.Unmarshal(body, &p)
	return p, err
}
