package sensorlog

import (
	"bufio"
	"bytes"
	"io"
	"regexp"
	"strconv"
	"strings"

	"belay/internal/fault"
	"belay/internal/sample"
)

// delimiters are the marks between columns that are tried, with their names.
var delimiters = []struct {
	mark byte
	name string
}{{';', "semicolon"}, {'\t', "tab"}, {',', "comma"}, {'|', "bar"}}

// sampleLines is how many lines of the beginning are looked at. Chosen: more
// than any preamble, few enough to be instant.
const sampleLines = 200

// Look finds out how a log is written, from its beginning. It returns an
// Invalid fault, with what to do, when there is no table of numbers.
func Look(r io.Reader) (Layout, error) {
	l, _, err := look(r)
	return l, err
}

// look also returns a reader of the whole log as UTF-8.
func look(r io.Reader) (Layout, io.Reader, error) {
	text, encoding, err := decoded(r)
	if err != nil {
		return Layout{}, nil, fault.New(fault.Invalid, "The log could not be read.", "Send it again.").Because(err)
	}
	b := bufio.NewReaderSize(text, looked)
	head, err := b.Peek(looked)
	if err != nil && err != io.EOF {
		return Layout{}, nil, fault.New(fault.Invalid, "The log could not be read.", "Send it again.").Because(err)
	}
	if len(bytes.TrimSpace(head)) == 0 {
		return Layout{}, nil, fault.New(fault.Invalid, "The log is empty.", "Let the program log while the load runs, then send its file.")
	}
	if bytes.IndexByte(head, 0) >= 0 || bytes.HasPrefix(head, []byte("PK\x03\x04")) {
		return Layout{}, nil, fault.New(fault.Invalid, "This file is no text.", "Export the readings as text with one row for each time (CSV), and send that.")
	}
	l := Layout{Encoding: encoding}
	lines := bytes.Split(head, []byte("\n"))
	if len(head) == looked && len(lines) > 1 {
		lines = lines[:len(lines)-1] // the last one is cut
	}
	lines = lines[:min(len(lines), sampleLines)]
	if err := l.findTable(lines); err != nil {
		return l, nil, err
	}
	return l, b, nil
}

// full matches a cell that is a number, with or without a unit.
var full = regexp.MustCompile(`^[-+]?[0-9][0-9.,']*(?:[eE][-+]?[0-9]+)?\s*[°ºµ℃%a-zA-Z/]{0,9}$`)

// missing are what loggers write for "not read".
var missing = map[string]bool{"": true, "-": true, "--": true, "---": true, "n/a": true, "na": true, "nan": true, "null": true, "none": true, "?": true, "#n/a": true}

// isValue reports whether a cell looks like data, and whether it looks like
// a heading.
func isValue(cell []byte) (value, text bool) {
	s := strings.ToLower(string(cell))
	if missing[s] {
		return false, false
	}
	if _, ok := flags[s]; ok || full.Match(cell) {
		return true, false
	}
	if _, ok := secondsOfDay(cell); ok {
		return true, false
	}
	return false, true
}

// shape counts the cells of a line.
type shape struct{ cells, values, texts int }

func shapeOf(line []byte, comma byte) shape {
	cells := split(nil, bytes.TrimRight(line, "\r"), comma)
	s := shape{cells: len(cells)}
	for _, c := range cells {
		v, t := isValue(c)
		if v {
			s.values++
		}
		if t {
			s.texts++
		}
	}
	return s
}

// isData reports whether a line of this shape is a row of readings.
func (s shape) isData() bool { return s.values > 0 && s.values >= s.texts }

// findTable finds delimiter, header and data, then the columns.
func (l *Layout) findTable(lines [][]byte) error {
	best, bestScore := -1, 0.0
	for i, d := range delimiters {
		counts, values, texts := map[int]int{}, 0, 0
		rows := 0
		for _, line := range lines {
			s := shapeOf(line, d.mark)
			if !s.isData() {
				continue
			}
			rows++
			counts[s.cells]++
			values += s.values
			texts += s.texts
		}
		width, same := 0, 0
		for n, c := range counts {
			if c > same || c == same && n > width {
				width, same = n, c
			}
		}
		if rows == 0 || width < 2 {
			continue
		}
		score := float64(same) / float64(rows) * float64(values) / float64(values+texts) * float64(rows)
		if hint := strings.TrimSpace(string(lines[0])); strings.EqualFold(hint, "sep="+string(d.mark)) {
			score *= 100
		}
		if best < 0 || score > bestScore*1.001 {
			best, bestScore = i, score
		}
	}
	if best < 0 {
		return fault.New(fault.Invalid, "The log holds no table of readings.",
			"Send a text file with a heading row, then one row for each time (CSV).")
	}
	l.comma, l.Delimiter = delimiters[best].mark, delimiters[best].name
	l.header = firstRow(lines, l.comma)
	return l.findColumns(lines, l.header)
}

// firstRow finds the first row of readings: the next one has as many cells,
// which a line of a preamble with a date in it does not.
func firstRow(lines [][]byte, comma byte) int {
	first, last, cells := -1, -1, 0
	for i, line := range lines {
		s := shapeOf(line, comma)
		if !s.isData() || s.cells < 2 {
			continue
		}
		if last >= 0 && s.cells == cells {
			return last
		}
		if first < 0 {
			first = i
		}
		last, cells = i, s.cells
	}
	return first
}

// findColumns reads the heading rows above line first, and guesses.
func (l *Layout) findColumns(lines [][]byte, first int) error {
	var data [][]string
	width, points, commas := 0, 0, 0
	for _, line := range lines[first:] {
		if s := shapeOf(line, l.comma); !s.isData() {
			continue
		}
		var row []string
		for _, c := range split(nil, bytes.TrimRight(line, "\r"), l.comma) {
			row = append(row, string(c))
			points += b2i(pointed.Match(c))
			commas += b2i(comma.Match(c))
		}
		data = append(data, row)
		width = max(width, len(row))
	}
	l.DecimalComma = commas > points
	names, units := l.headings(lines[:first], width)
	if l.comma == ',' && len(names) > 1 && len(data[0]) > len(names)+1 {
		return fault.New(fault.Invalid, "The rows have more columns than the heading: commas stand between columns and within numbers.",
			"Let the program write a point or a semicolon, or quote its numbers, and send the log again.")
	}
	if names == nil {
		names = make([]string, width)
	}
	seen := map[string]int{}
	for i, name := range names {
		if name == "" {
			name = "Column " + strconv.Itoa(i+1)
		}
		if seen[name]++; seen[name] > 1 {
			name += " #" + strconv.Itoa(seen[name])
		}
		c := Column{Name: name, Example: exampleOf(data, i)}
		own := ""
		if u, ok := unitOf(name); ok {
			c.Unit, own = u.symbol, unitText(name)
		} else if i < len(units) && units[i] != "" {
			c.Unit, own = spellings[units[i]].symbol, units[i]
		} else if u, ok := unitOfCell(c.Example); ok {
			c.Unit, own = u.symbol, strings.ToLower(afterValue.FindStringSubmatch(c.Example)[1])
		} else if _, ok := flag([]byte(c.Example)); ok {
			c.Unit, own = "yes/no", "yes/no"
		}
		l.Columns = append(l.Columns, c)
		l.units = append(l.units, own)
	}
	l.Key = keyOf(l.Columns)
	l.guess(data)
	return nil
}

var (
	pointed = regexp.MustCompile(`^[-+]?\d+\.\d+\s*\D*$`)
	comma   = regexp.MustCompile(`^[-+]?\d+,\d+\s*\D*$`)
)

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// unitText is the spelling of the unit in a header.
func unitText(name string) string {
	for _, pattern := range []*regexp.Regexp{inBrackets, behind} {
		if m := pattern.FindStringSubmatch(name); m != nil {
			if _, ok := spellings[strings.ToLower(m[1])]; ok {
				return strings.ToLower(m[1])
			}
		}
	}
	return ""
}

// headings joins the rows of text right above the data: a row of units, and
// one or two of names, where a name above an empty cell reaches to the right.
func (l *Layout) headings(above [][]byte, width int) (names, units []string) {
	var rows [][]string
	for i := len(above) - 1; i >= 0 && len(rows) < 3; i-- {
		s := shapeOf(above[i], l.comma)
		if s.texts == 0 || s.values > s.texts || s.cells < 2 || s.cells*3 < width {
			if len(rows) == 0 && s.texts+s.values == 0 {
				continue // an empty line below the heading
			}
			break
		}
		var row []string
		for _, c := range split(nil, bytes.TrimRight(above[i], "\r"), l.comma) {
			row = append(row, strings.Trim(string(c), " \""))
		}
		rows = append(rows, row)
	}
	if len(rows) > 1 {
		known, cells := 0, 0
		for _, c := range rows[0] {
			if c != "" {
				cells++
				_, ok := spellings[strings.ToLower(strings.Trim(c, "[]() "))]
				known += b2i(ok)
			}
		}
		if known*2 >= cells {
			for _, c := range rows[0] {
				c = strings.ToLower(strings.Trim(c, "[]() "))
				if _, ok := spellings[c]; !ok {
					c = ""
				}
				units = append(units, c)
			}
			rows = rows[1:]
		}
	}
	if len(rows) == 0 {
		return nil, units
	}
	names = rows[0]
	if len(rows) > 1 {
		group := ""
		for i := range names {
			if i < len(rows[1]) && rows[1][i] != "" {
				group = rows[1][i]
			}
			names[i] = strings.TrimSpace(group + " " + names[i])
		}
	}
	return names, units
}

func exampleOf(data [][]string, column int) string {
	for i := range data {
		row := data[(i+len(data)/2)%len(data)]
		if column < len(row) && !missing[strings.ToLower(row[column])] {
			return row[column]
		}
	}
	return ""
}

// guess proposes a mapping: for each quantity the columns whose names say it
// most clearly. Cores count together, of voltage, power and load one column.
func (l *Layout) guess(data [][]string) {
	l.Guess.Time, l.clock = guessTime(l.Columns, data, l.units, l.DecimalComma)
	l.Guess.Columns = map[string][]string{}
	most := map[sample.Quantity]int{}
	scores := make([]int, len(l.Columns))
	for i := range l.Columns {
		c := &l.Columns[i]
		if c.Name == l.Guess.Time || c.Example == "" {
			continue
		}
		if _, ok := l.value(i, []byte(c.Example)); !ok {
			continue
		}
		q, score := sample.Guess(c.Name, c.Unit)
		if score < 2 {
			continue
		}
		c.Guess, scores[i] = q.String(), score
		most[q] = max(most[q], score)
	}
	for i, c := range l.Columns {
		q, ok := sample.Named(c.Guess)
		if !ok {
			continue
		}
		have := l.Guess.Columns[c.Guess]
		every := q == sample.Temp || q == sample.Throttle
		if !every && scores[i] < most[q] || !every && q != sample.Clock && len(have) > 0 {
			l.Columns[i].Guess = ""
			continue
		}
		l.Guess.Columns[c.Guess] = append(have, c.Name)
	}
}

// value reads a cell of a column in the column's own unit, in Belay's.
func (l *Layout) value(column int, cell []byte) (float64, bool) {
	x, ok := number(cell, l.DecimalComma)
	if !ok {
		return flag(cell)
	}
	if u, ok := spellings[l.units[column]]; ok {
		return x*u.factor + u.offset, true
	}
	return x, true
}
