package store

import (
	"bytes"
	"encoding/json"
	"unicode/utf8"

	"belay/internal/event"
	"belay/internal/fault"
)

const (
	exportFormat  = "belay-session"
	exportVersion = 1

	// MaxExport is the largest session document, in bytes (chosen: over 10,000
	// events of 600 bytes).
	MaxExport = 8 << 20
)

// document is one session with its flow, as docs/formats/session-export.md
// describes it.
type document struct {
	Format  string           `json:"format"`
	Version int              `json:"version"`
	Flow    flowPart         `json:"flow"`
	Events  []event.Envelope `json:"events"`
}

// flowPart holds a flow as text or, when it is not UTF-8, as base64.
type flowPart struct {
	Hash   string  `json:"hash"`
	Text   *string `json:"text,omitempty"`
	Base64 []byte  `json:"base64,omitempty"`
}

func (f flowPart) body() []byte {
	if f.Text != nil {
		return []byte(*f.Text)
	}
	return f.Base64
}

// Export makes one JSON document of all events of a session and its flow. The
// same session always gives the same bytes. It returns Corrupt when the
// events or the flow fail their checks, and Limit over MaxExport bytes.
func Export(events []event.Envelope, flow []byte) ([]byte, error) {
	doc := document{Format: exportFormat, Version: exportVersion, Events: events}
	doc.Flow.Hash = hashOf(flow)
	if text := string(flow); utf8.ValidString(text) {
		doc.Flow.Text = &text
	} else {
		doc.Flow.Base64 = flow
	}
	if err := doc.check(); err != nil {
		return nil, fault.Wrap("store.Export", err)
	}
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false) // it would change bodies, and so their hashes
	if err := enc.Encode(doc); err != nil {
		return nil, fault.Wrap("store.Export", err)
	}
	if b.Len() > MaxExport {
		return nil, fault.Wrap("store.Export", fault.New(fault.Limit,
			"A session file can hold 8 MiB, and this session is larger.", "Make a backup of all sessions instead."))
	}
	return b.Bytes(), nil
}

// check checks that the events are one whole session that this program can
// read, and that the flow is the one that it began with.
func (d document) check() error {
	if len(d.Events) == 0 {
		return fault.New(fault.Invalid, "This file holds no entries.", "Export the session again.")
	}
	session := d.Events[0].Session
	if err := checkName(session); err != nil {
		return err
	}
	for i, e := range d.Events {
		if e.Session != session {
			return fault.Newf(fault.Invalid, "Export the session again.", "Entry %d belongs to another session.", i+1)
		}
	}
	if err := event.Verify(d.Events); err != nil {
		return err
	}
	for _, e := range d.Events {
		if _, err := event.Decode(e); err != nil {
			return err
		}
	}
	return d.checkFlow()
}

func (d document) checkFlow() error {
	payload, err := event.Decode(d.Events[0])
	if err != nil {
		return err
	}
	started, ok := payload.(event.SessionStarted)
	if !ok {
		return fault.New(fault.Invalid, "The first entry does not start a session.", "Export the session again.")
	}
	if d.Flow.Hash != hashOf(d.Flow.body()) {
		return fault.New(fault.Corrupt, "The flow in this file was changed after it was written.", "Export the session again.")
	}
	if d.Flow.Hash != started.FlowHash {
		return fault.New(fault.Invalid, "The flow is not the one that this session began with.", "Export the session again.")
	}
	return nil
}
