package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"

	"belay/internal/event"
	"belay/internal/fault"
)

// rewriteWitness writes the witness anew from the log and returns its size.
func (l *Log) rewriteWitness(ctx context.Context, deleted map[string]bool) (size int64, err error) {
	err = l.read(ctx, func(q queryer) error {
		size, err = makeWitness(l.path+witnessSuffix, func(to io.Writer) error {
			return dump(ctx, q, to, l.schema, deleted)
		})
		if err != nil {
			return witnessFault(err)
		}
		return nil
	})
	return size, err
}

// dump writes the whole log as a witness.
func dump(ctx context.Context, q queryer, to io.Writer, schema int, deleted map[string]bool) error {
	heads, err := allHeads(ctx, q)
	if err != nil {
		return err
	}
	h := newHoard()
	if err := h.readFlows(ctx, q); err != nil {
		return err
	}
	m := merged{flows: h.flows, deleted: deleted}
	if err := m.writeTop(to, schema); err != nil {
		return err
	}
	for _, head := range slices.Backward(heads) {
		events, err := wholeSession(ctx, q, head.Session)
		if err != nil {
			return err
		}
		if err := writeEvents(to, events); err != nil {
			return err
		}
	}
	return nil
}

// write writes all that was put together as a witness.
func (m merged) write(to io.Writer, schema int) error {
	if err := m.writeTop(to, schema); err != nil {
		return err
	}
	for _, events := range m.sessions {
		if err := writeEvents(to, events); err != nil {
			return err
		}
	}
	return nil
}

// writeTop writes what comes before the events: each line a save of its own.
func (m merged) writeTop(to io.Writer, schema int) error {
	var out bytes.Buffer
	one := func(add func(*lines)) {
		var l lines
		add(&l)
		out.Write(l.encode())
	}
	one(func(l *lines) { l.add("witness", fmt.Sprint(witnessVersion)) })
	one(func(l *lines) { l.schema(schema) })
	for _, session := range sorted(m.deleted) {
		one(func(l *lines) { l.deleted(session) })
	}
	for _, hash := range sorted(m.flows) {
		one(func(l *lines) { l.flow(hash, m.flows[hash]) })
	}
	_, err := to.Write(out.Bytes())
	return err
}

func writeEvents(to io.Writer, events []event.Envelope) error {
	var out bytes.Buffer
	for _, e := range events {
		var l lines
		l.event(e)
		out.Write(l.encode())
	}
	_, err := to.Write(out.Bytes())
	return err
}

func sorted[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

func witnessFault(err error) error {
	var f *fault.Error
	if errors.As(err, &f) {
		return f
	}
	if isFull(err) {
		return diskFull.Because(err)
	}
	return fault.New(fault.Unavailable, "Belay cannot write its second journal.",
		"Check that the disk has space and that you may write to the folder.").Because(err)
}
