package store

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"strconv"
	"time"

	"belay/internal/event"
)

// line is one sound line of a witness, without checksum and count.
type line struct {
	kind   string
	fields [8][]byte // those after the kind; the last of an event is its body
	save   int       // number of the save that it belongs to, from 0
}

// scan is how the reading of a witness ended.
type scan struct {
	found  bool  // there is a file
	size   int64 // bytes up to the end of the last whole save
	saves  int   // whole ones
	bad    int   // lines that fail their checksum, before the end
	torn   bool  // the file ends within a save, as a power cut leaves it
	spoilt bool  // it ends with a whole line that fails its checksum
	open   bool  // the last line is whole but for its newline
	err    error // the disk did not give the file back
}

// lineKinds are the kinds of lines with the number of their fields.
var lineKinds = []struct {
	name   string
	fields int
}{{"event", 8}, {"flow", 2}, {"deleted", 1}, {"schema", 1}, {"witness", 1}}

// scanWitness hands every sound line of the file to visit, in order, but for
// those of a last save that is not whole. A line is valid until visit returns.
//
// The last line counts without its newline when its checksum is right. A last
// line that fails its checksum was torn by a power cut, or damaged; nobody can
// tell, and it counts as torn.
func scanWitness(path string, visit func(line)) (s scan) {
	file, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return s
	}
	s.found = true
	if err != nil {
		s.err = err
		return s
	}
	defer file.Close()
	r := reading{scan: &s, visit: visit}
	in := bufio.NewReaderSize(file, 256<<10)
	for {
		text, err := readLine(in)
		if len(text) > 0 {
			r.take(text)
		}
		if err != nil {
			if !errors.Is(err, io.EOF) {
				s.err = err
			}
			s.torn = r.badEnd > 0 || len(r.pending) > 0
			return s
		}
	}
}

// reading is the state of a scan between two lines.
type reading struct {
	*scan
	visit   func(line)
	at      int64
	pending []byte // sound lines of a save whose last line is not there yet
	badEnd  int    // bad lines since the last sound one
}

func (r *reading) take(text []byte) {
	r.at += int64(len(text))
	l, left, ok := parseLine(text)
	if !ok {
		r.badEnd++
		// Where a sector was not written there are zeros; one may be a flipped blank.
		r.spoilt = text[len(text)-1] == '\n' && bytes.Count(text, []byte{0}) < 2
		return
	}
	r.spoilt = false
	r.bad += r.badEnd // they are not the end
	r.badEnd = 0
	l.save = r.saves
	if left > 0 {
		r.pending = append(r.pending, text...)
		return
	}
	for p := r.pending; len(p) > 0; {
		end := bytes.IndexByte(p, '\n') + 1
		before, _, _ := parseLine(p[:end]) // once more
		before.save = r.saves
		r.visit(before)
		p = p[end:]
	}
	r.pending = r.pending[:0]
	r.visit(l)
	r.saves++
	r.size = r.at
	r.open = text[len(text)-1] != '\n'
}

// readLine returns the next line with its newline. It is valid until the next
// call.
func readLine(in *bufio.Reader) ([]byte, error) {
	text, err := in.ReadSlice('\n')
	if !errors.Is(err, bufio.ErrBufferFull) {
		return text, err
	}
	whole := bytes.Clone(text)
	for errors.Is(err, bufio.ErrBufferFull) {
		text, err = in.ReadSlice('\n')
		whole = append(whole, text...)
	}
	return whole, err
}

// parseLine checks one line and takes it apart.
func parseLine(text []byte) (l line, left int, ok bool) {
	text = bytes.TrimSuffix(text, []byte{'\n'})
	if len(text) < 9 || text[8] != ' ' {
		return l, 0, false
	}
	var sum [4]byte
	if _, err := hex.Decode(sum[:], text[:8]); err != nil {
		return l, 0, false
	}
	text = text[9:]
	if crc := crc32.Checksum(text, castagnoli); crc != uint32(sum[0])<<24|uint32(sum[1])<<16|uint32(sum[2])<<8|uint32(sum[3]) {
		return l, 0, false
	}
	count, rest, _ := bytes.Cut(text, blank)
	left, err := strconv.Atoi(string(count))
	if err != nil {
		return l, 0, false
	}
	kind, rest, _ := bytes.Cut(rest, blank)
	for _, k := range lineKinds {
		if string(kind) != k.name {
			continue
		}
		l.kind = k.name
		for i := range k.fields - 1 {
			if l.fields[i], rest, ok = bytes.Cut(rest, blank); !ok {
				return l, 0, false
			}
		}
		l.fields[k.fields-1] = rest
		return l, left, true
	}
	return l, 0, false
}

var blank = []byte{' '}

// event returns the event of a line of that kind. A field that cannot be what
// was written gives an event that fails its check.
func (l line) event() event.Envelope {
	e := event.Envelope{
		Session: string(l.fields[0]), Kind: event.Kind(l.fields[3]), Prev: string(l.fields[5]),
		Hash: string(l.fields[6]), Body: json.RawMessage(bytes.Clone(l.fields[7])),
	}
	if e.Prev == "-" {
		e.Prev = ""
	}
	e.Version, _ = strconv.ParseInt(string(l.fields[1]), 10, 64)
	e.Time, _ = time.Parse(time.RFC3339Nano, string(l.fields[2]))
	e.Format, _ = strconv.Atoi(string(l.fields[4]))
	return e
}

// flow returns the flow of a line of that kind.
func (l line) flow() (hash string, body []byte) {
	body, _ = base64.StdEncoding.DecodeString(string(l.fields[1]))
	return string(l.fields[0]), body
}
