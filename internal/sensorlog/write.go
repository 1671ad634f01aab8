package sensorlog

import (
	"bufio"
	"io"
	"math"
	"strconv"

	"belay/internal/sample"
)

// Writer writes readings as a log that Read understands: what Belay itself
// samples during a trial is kept in the same form as any other log.
type Writer struct{ w *bufio.Writer }

// NewWriter writes the heading to w.
func NewWriter(w io.Writer) (*Writer, error) {
	b := bufio.NewWriter(w)
	if _, err := b.WriteString("elapsed_s"); err != nil {
		return nil, err
	}
	for _, q := range sample.Quantities {
		if _, err := b.WriteString("," + q.String()); err != nil {
			return nil, err
		}
	}
	if err := b.WriteByte('\n'); err != nil {
		return nil, err
	}
	return &Writer{b}, b.Flush()
}

// Put writes one row, at the moment at in seconds. Each row reaches w at
// once, so that a crash of the PC loses at most the newest.
func (w *Writer) Put(at float64, v sample.Values) error {
	line := strconv.AppendFloat(nil, at, 'f', 3, 64)
	for _, x := range v {
		line = append(line, ',')
		if !math.IsNaN(x) {
			line = strconv.AppendFloat(line, x, 'g', -1, 64)
		}
	}
	if _, err := w.w.Write(append(line, '\n')); err != nil {
		return err
	}
	return w.w.Flush()
}

// Own is the mapping of a log that Writer wrote.
func Own() Mapping {
	m := Mapping{Time: "elapsed_s", Columns: map[string][]string{}}
	for _, q := range sample.Quantities {
		m.Columns[q.String()] = []string{q.String()}
	}
	return m
}
