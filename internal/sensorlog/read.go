package sensorlog

import (
	"bytes"
	"fmt"
	"io"
	"math"

	"belay/internal/fault"
	"belay/internal/sample"
)

// Log is a log that was read whole.
type Log struct {
	Layout   Layout
	Series   *sample.Series
	Rows     int      // rows of readings
	Skipped  int      // lines that were no row of readings
	Warnings []string // what a person should know about the file
}

// choose returns the mapping to read a log with, once its layout is known.
type choose func(Layout) (Mapping, error)

// As reads with a mapping that a person confirmed.
func As(m Mapping) func(Layout) (Mapping, error) {
	return func(l Layout) (Mapping, error) { return m, l.Check(m) }
}

// Guessed reads with what was guessed.
func Guessed(l Layout) (Mapping, error) { return l.Guess, l.Check(l.Guess) }

// Read reads a log in one pass, with a memory that does not grow with the
// file but with its time, at most two days. Repeated headings are passed over,
// and one with other columns is followed. It returns an Invalid fault when
// nothing can be read, and a Limit fault for a log that is too long.
func Read(r io.Reader, by func(Layout) (Mapping, error)) (*Log, error) { return read(r, by, MaxBytes) }

func read(r io.Reader, by choose, most int64) (*Log, error) {
	counted := &io.LimitedReader{R: r, N: most + 1}
	l, text, err := look(counted)
	if err != nil {
		return nil, err
	}
	m, err := by(l)
	if err != nil {
		return nil, err
	}
	log := &Log{Layout: l, Series: &sample.Series{}}
	p := &pass{log: log, m: m, clock: clock{kind: l.clock, decimalComma: l.DecimalComma}}
	if m.Time != l.Guess.Time && m.Time != "" {
		if p.clock.kind, err = l.kindOfColumn(m.Time); err != nil {
			return nil, err
		}
	}
	names := make([][]byte, len(l.Columns))
	for i, c := range l.Columns {
		names[i] = []byte(c.Name)
	}
	p.place(names)
	rows := newRows(text, l.comma)
	for n := 0; rows.next(); n++ {
		if n < l.header {
			continue
		}
		if err := p.row(rows.cells); err != nil {
			return nil, err
		}
	}
	if err := rows.err(); err != nil {
		return nil, err
	}
	if counted.N <= 0 {
		return nil, fault.Newf(fault.Limit, "Cut it to the time of the trial, and send that.", "The log is larger than %d MiB.", most>>20)
	}
	if log.Rows == 0 {
		return nil, fault.New(fault.Invalid, "No row of this log has a reading in the chosen columns.", "Choose other columns.")
	}
	p.warn()
	return log, nil
}

// pass is one reading of a log.
type pass struct {
	log   *Log
	m     Mapping
	clock clock
	time  int // column of times, or -1
	used  []use
	rows  int
	cells [6][]float64
}

// use is one column that is read.
type use struct {
	column, unit int
	q            sample.Quantity
}

// place finds the columns of the mapping under these headings. Columns that
// are not there any more are read no more.
func (p *pass) place(names [][]byte) bool {
	time, used := -1, []use(nil)
	seen := map[string]int{}
	for i, n := range names {
		name := string(n)
		if seen[name]++; seen[name] > 1 {
			name += fmt.Sprintf(" #%d", seen[name])
		}
		if name == p.m.Time {
			time = i
		}
		for _, q := range sample.Quantities {
			for _, want := range p.m.Columns[q.String()] {
				if want == name {
					used = append(used, use{i, p.log.Layout.index(name), q})
				}
			}
		}
	}
	if len(used) == 0 || p.m.Time != "" && time < 0 {
		return false
	}
	p.time, p.used = time, used
	return true
}

// row takes in one line.
func (p *pass) row(cells [][]byte) error {
	l := &p.log.Layout
	if p.time >= len(cells) || len(cells) < 2 && len(l.Columns) > 1 {
		p.log.Skipped++
		return nil
	}
	at := float64(p.rows)
	if p.time >= 0 {
		t, ok := p.clock.at(cells[p.time])
		if !ok {
			p.log.Skipped++
			p.place(cells) // perhaps a heading
			return nil
		}
		at = t
	}
	for q := range p.cells {
		p.cells[q] = p.cells[q][:0]
	}
	found, texts := false, 0
	for _, u := range p.used {
		if u.column >= len(cells) {
			continue
		}
		x, ok := l.value(u.unit, cells[u.column])
		if !ok {
			texts += b2i(!missing[string(bytes.ToLower(cells[u.column]))])
			continue
		}
		if l.units[u.unit] == "" {
			x = bySize(u.q, x)
		}
		p.cells[u.q] = append(p.cells[u.q], x)
		found = true
	}
	if !found && texts > 0 {
		p.log.Skipped++
		p.place(cells)
		return nil
	}
	p.rows++
	if !found {
		return nil // a row of missing values: time goes on
	}
	v := sample.None()
	for _, q := range sample.Quantities {
		v[q] = sample.Combine(q, p.cells[q])
	}
	p.log.Rows++
	return p.log.Series.Add(at, v)
}

func (p *pass) warn() {
	say := func(format string, args ...any) {
		p.log.Warnings = append(p.log.Warnings, fmt.Sprintf(format, args...))
	}
	if p.time < 0 {
		say("The log has no times, so each row counts as one second.")
	}
	if p.clock.jumps > 0 {
		say("The clock of the log was set back %d times. The rows were joined there.", p.clock.jumps)
	}
	if p.log.Skipped > 0 {
		say("%d lines hold no readings and were passed over.", p.log.Skipped)
	}
}

// kindOfColumn tells how to read the times in a column that was chosen by
// hand, from its example.
func (l *Layout) kindOfColumn(name string) (clockKind, error) {
	i := l.index(name)
	if i >= 0 {
		if k, ok := kindOf([]string{l.Columns[i].Example}, l.units[i], l.DecimalComma); ok && !math.IsNaN(k.scale) {
			return k, nil
		}
	}
	f := fault.New(fault.Invalid, "The chosen column of times holds no times.", "Choose another column, or none.")
	f.Fields = []fault.Field{{Field: "time", Message: f.Msg}}
	return clockKind{}, f
}
