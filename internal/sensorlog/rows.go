package sensorlog

import (
	"bufio"
	"bytes"
	"errors"
	"io"

	"belay/internal/fault"
)

// longestLine is in bytes. Chosen: 200 columns of a hundred characters, ten
// times over.
const longestLine = 256 << 10

// rows reads a table line by line. A quoted cell ends with its line: a stray
// quote, which loggers do write, must not swallow the rest of a large file,
// as a reader after RFC 4180 would let it.
type rows struct {
	scan  *bufio.Scanner
	comma byte
	cells [][]byte
	line  int
}

func newRows(r io.Reader, comma byte) *rows {
	s := bufio.NewScanner(r)
	s.Buffer(make([]byte, 64<<10), longestLine)
	return &rows{scan: s, comma: comma}
}

// next moves to the next line, and reports false at the end.
func (r *rows) next() bool {
	if !r.scan.Scan() {
		return false
	}
	r.cells = split(r.cells[:0], bytes.TrimRight(r.scan.Bytes(), "\r"), r.comma)
	r.line++
	return true
}

// err returns a fault when the file could not be read to its end.
func (r *rows) err() error {
	err := r.scan.Err()
	var f *fault.Error
	switch {
	case err == nil, errors.As(err, &f):
		return err
	case errors.Is(err, bufio.ErrTooLong):
		return fault.Newf(fault.Invalid, "Send a text file with one row for each time (CSV).", "Line %d of the log is longer than any row of readings.", r.line+1)
	}
	return fault.New(fault.Invalid, "The log could not be read to its end.", "Send it again.").Because(err)
}

// split cuts a line at comma into dst. Blanks around a cell and quotes around
// it are dropped; a doubled quote within stays doubled, which no number has.
func split(dst [][]byte, line []byte, comma byte) [][]byte {
	for {
		cell := line
		end := -1
		trimmed := bytes.TrimLeft(line, " ")
		if len(trimmed) > 0 && trimmed[0] == '"' {
			from := len(line) - len(trimmed) + 1
			for i := from; i < len(line); i++ {
				if line[i] != '"' {
					continue
				}
				if i+1 < len(line) && line[i+1] == '"' {
					i++
					continue
				}
				if rest := bytes.TrimLeft(line[i+1:], " "); len(rest) == 0 || rest[0] == comma {
					cell, end = line[from:i], len(line)-len(rest)
					break
				}
			}
		}
		if end < 0 {
			if end = bytes.IndexByte(line, comma); end < 0 {
				end = len(line)
			}
			cell = line[:end]
		}
		dst = append(dst, bytes.TrimSpace(cell))
		if end >= len(line) {
			return dst
		}
		line = line[end+1:]
	}
}
