package store

import (
	"bytes"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"belay/internal/event"
)

// witnessVersion is the version of the witness's format.
const witnessVersion = 1

// castagnoli is the CRC-32C of RFC 3720, which finds every single flipped bit
// and every burst of up to 32.
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// witness is the second journal: a text file with one line per entry, each
// with a checksum of its own, to which every save is added and synced before
// it is acknowledged. docs/formats/witness.md describes it.
//
// It is independent of SQLite, so that damage to one journal leaves the other.
type witness struct {
	path string
	file *os.File
	size int64 // bytes that hold acknowledged saves
	sync func(*os.File) error
}

// lines gathers the lines of one save.
type lines struct {
	texts  [][]byte
	events []event.Envelope // those among them
}

func (l *lines) add(parts ...string) {
	var b []byte
	for i, p := range parts {
		if i > 0 {
			b = append(b, ' ')
		}
		b = append(b, p...)
	}
	l.texts = append(l.texts, b)
}

func (l *lines) event(e event.Envelope) {
	l.events = append(l.events, e)
	prev := e.Prev
	if prev == "" {
		prev = "-"
	}
	l.add("event", e.Session, strconv.FormatInt(e.Version, 10), e.Time.Format(time.RFC3339Nano), string(e.Kind),
		strconv.Itoa(e.Format), prev, e.Hash, string(e.Body))
}

func (l *lines) flow(hash string, body []byte) {
	l.add("flow", hash, base64.StdEncoding.EncodeToString(body))
}

func (l *lines) deleted(session string) { l.add("deleted", session) }

func (l *lines) schema(number int) { l.add("schema", strconv.Itoa(number)) }

// encode puts before each line its checksum and how many lines of the same
// save follow it, so that half a save at the end of the file can be told.
func (l *lines) encode() []byte {
	var b bytes.Buffer
	for i, text := range l.texts {
		line := append(strconv.AppendInt(nil, int64(len(l.texts)-1-i), 10), ' ')
		line = append(line, text...)
		var sum [4]byte
		crc := crc32.Checksum(line, castagnoli)
		sum[0], sum[1], sum[2], sum[3] = byte(crc>>24), byte(crc>>16), byte(crc>>8), byte(crc)
		b.WriteString(hex.EncodeToString(sum[:]))
		b.WriteByte(' ')
		b.Write(line)
		b.WriteByte('\n')
	}
	return b.Bytes()
}

// openWitness opens the witness to add to it behind its first size bytes.
// What lies behind them is half a save, and goes.
func openWitness(path string, size int64) (*witness, error) {
	file, err := os.OpenFile(path, os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	w := &witness{path: path, file: file, size: size, sync: syncData}
	info, err := file.Stat()
	if err == nil && info.Size() > size {
		err = w.undo()
	}
	if err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return w, nil
}

// write adds lines behind what is acknowledged. It is not on the disk before
// sync, and counts only after keep.
func (w *witness) write(data []byte) error {
	_, err := w.file.WriteAt(data, w.size)
	return err
}

// keep acknowledges n bytes that were written and synced.
func (w *witness) keep(n int) { w.size += int64(n) }

// undo takes away what was written and not acknowledged.
func (w *witness) undo() error {
	return errors.Join(w.file.Truncate(w.size), w.file.Sync())
}

// makeWitness writes a witness of its own, whole and synced, in the place of
// the one at path, and returns its size.
func makeWitness(path string, write func(io.Writer) error) (int64, error) {
	temp := path + ".new"
	file, err := os.OpenFile(temp, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return 0, err
	}
	count := &counter{to: file}
	err = write(count)
	if err == nil {
		err = file.Sync()
	}
	if err = errors.Join(err, file.Close()); err == nil {
		err = os.Rename(temp, path)
	}
	if err != nil {
		return 0, errors.Join(err, os.Remove(temp))
	}
	return count.n, syncFolder(filepath.Dir(path))
}

// counter counts what it hands on.
type counter struct {
	to io.Writer
	n  int64
}

func (c *counter) Write(data []byte) (int, error) {
	n, err := c.to.Write(data)
	c.n += int64(n)
	return n, err
}
