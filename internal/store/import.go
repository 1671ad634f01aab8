package store

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"io"
	"strings"

	"belay/internal/event"
	"belay/internal/fault"
)

// Parse reads what Export wrote and checks all of it: size, format, version,
// names given twice, the chain of events and the hash of the flow. It returns
// Limit for a document over MaxExport bytes, Corrupt where a hash does not
// match, and Invalid otherwise.
func Parse(data []byte) ([]event.Envelope, []byte, error) {
	doc, err := parse(data)
	if err != nil {
		return nil, nil, fault.Wrap("store.Parse", err)
	}
	return doc.Events, doc.Flow.body(), nil
}

func parse(data []byte) (document, error) {
	if len(data) > MaxExport {
		return document{}, fault.New(fault.Limit, "A session file can hold 8 MiB, and this file is larger.",
			"Choose a file that Belay exported.")
	}
	// The label comes first: a newer document may have fields of its own.
	var label struct {
		Format  string `json:"format"`
		Version int    `json:"version"`
	}
	if err := json.Unmarshal(data, &label); err != nil {
		return document{}, notJSON(err)
	}
	switch {
	case label.Format != exportFormat:
		return document{}, notSession
	case label.Version > exportVersion:
		return document{}, fault.Newf(fault.Invalid, "Open this file with the newer Belay that wrote it.",
			"A newer Belay wrote this file: version %d. This Belay reads version %d.", label.Version, exportVersion)
	case label.Version < 1:
		return document{}, notSession
	}
	if err := checkNames(data); err != nil {
		return document{}, err
	}
	var doc document
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&doc); err != nil {
		return document{}, notJSON(err)
	}
	if (doc.Flow.Text != nil) == (doc.Flow.Base64 != nil) {
		return document{}, fault.New(fault.Invalid, "The flow must be given once, as text or as base64.", "Export the session again.")
	}
	for i := range doc.Events {
		if err := compact(&doc.Events[i]); err != nil {
			return document{}, notJSON(err)
		}
	}
	return doc, doc.check()
}

var notSession = fault.New(fault.Invalid, "This is not a session that Belay exported.", "Choose a file that Belay exported.")

// notJSON says where the text stops being a session document.
func notJSON(err error) error {
	var syntax *json.SyntaxError
	if errors.As(err, &syntax) {
		return fault.Newf(fault.Invalid, "Choose a file that Belay exported, as it was.",
			"This is not a session file: it breaks off or goes wrong at byte %d.", syntax.Offset).Because(err)
	}
	var kind *json.UnmarshalTypeError
	if errors.As(err, &kind) && kind.Field != "" {
		return fault.Newf(fault.Invalid, "Choose a file that Belay exported, as it was.",
			"This is not a session file: %q holds the wrong kind of value.", kind.Field).Because(err)
	}
	return notSession.Because(err)
}

// compact takes the white space out of a body, which a program that lays out
// JSON may have put there, and which is not part of what was hashed.
func compact(e *event.Envelope) error {
	var b bytes.Buffer
	if err := json.Compact(&b, e.Body); err != nil {
		return err
	}
	e.Body = b.Bytes()
	return nil
}

// object is an object or list that checkNames is inside of.
type object struct {
	names  map[string]bool // nil in a list
	isName bool            // the next token is a name
}

// bodyDepth is how deep in a document the bodies of events are: document,
// events, event, body. Above it, Go takes names that differ in case for one.
const bodyDepth = 4

// checkNames refuses an object that gives one name twice, of which Go would
// keep the last. The text must be JSON.
func checkNames(data []byte) error {
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.UseNumber()
	var stack []object
	for {
		token, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return notJSON(err)
		}
		if stack, err = enter(stack, token); err != nil {
			return err
		}
	}
}

// enter takes one token and returns the objects that are open after it.
func enter(stack []object, token json.Token) ([]object, error) {
	var top *object
	if len(stack) > 0 {
		top = &stack[len(stack)-1]
	}
	if top != nil && top.isName && token != json.Delim('}') {
		name := token.(string) // the text is JSON
		if len(stack) < bodyDepth {
			name = strings.ToLower(name)
		}
		if top.names[name] {
			return nil, fault.Newf(fault.Invalid, "Choose a file that Belay exported, as it was.",
				"This is not a session file: it gives %.60q twice.", name)
		}
		top.names[name], top.isName = true, false
		return stack, nil
	}
	if top != nil && token != json.Delim('}') && token != json.Delim(']') {
		top.isName = top.names != nil // a value ends the pair that its name began
	}
	switch token {
	case json.Delim('{'):
		stack = append(stack, object{names: map[string]bool{}, isName: true})
	case json.Delim('['):
		stack = append(stack, object{})
	case json.Delim('}'), json.Delim(']'):
		stack = stack[:len(stack)-1]
	}
	return stack, nil
}

// Import adds the session in a document that Export wrote, with its flow, in
// one transaction, and returns the session's name. It returns the faults of
// Parse, and Conflict when the log has a session of this name.
func (l *Log) Import(ctx context.Context, data []byte) (string, error) {
	doc, err := parse(data)
	if err != nil {
		return "", fault.Wrap("store.Import", err)
	}
	session := doc.Events[0].Session
	var note lines
	note.flow(doc.Flow.Hash, doc.Flow.body())
	for _, e := range doc.Events {
		note.event(e)
	}
	err = l.write(ctx, note, func(ctx context.Context, tx *sql.Tx) error {
		head, err := headOf(ctx, tx, session)
		if err != nil {
			return err
		}
		if head.Version != 0 {
			return fault.New(fault.Conflict, "This session is already there.",
				"Open it from the list, or delete it first if you want the imported one.")
		}
		if err := putFlow(ctx, tx, doc.Flow.Hash, doc.Flow.body()); err != nil {
			return err
		}
		return insert(ctx, tx, head, doc.Events)
	})
	if err != nil {
		return "", fault.Wrap("store.Import", err)
	}
	return session, nil
}
