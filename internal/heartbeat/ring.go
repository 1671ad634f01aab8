package heartbeat

import (
	"cmp"
	"errors"
	"io"
	"io/fs"
	"os"
	"slices"
	"sync"
	"time"

	"belay/internal/fault"
)

const (
	blockSize = 4096                 // bytes that a disk writes at once, at least
	perBlock  = blockSize / slotSize // slots
	blocks    = 2                    // neighbours in time lie in different blocks, so that a torn one costs one beat
	slots     = perBlock * blocks
	ringSize  = blockSize * (blocks + 1) // the last block holds the usual time of a restart
)

// Ring is the open file. It is safe for concurrent use.
type Ring struct {
	mu      sync.Mutex
	file    *os.File
	seq     uint64
	last    []Beat // as found when it was opened, oldest first
	restart time.Duration
}

// Open opens the ring at path, or makes it.
func Open(path string) (*Ring, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, unavailable(err)
	}
	r := &Ring{file: f}
	if err := r.load(); err != nil {
		return nil, errors.Join(unavailable(err), f.Close())
	}
	return r, nil
}

func unavailable(err error) error {
	next := "Free some space on the disk, then start Belay again."
	if errors.Is(err, fs.ErrPermission) {
		next = "Give this user the right to write to the data folder, then start Belay again."
	}
	return fault.New(fault.Unavailable, "The file that dates crashes cannot be written.", next).Because(err)
}

// load reads what is there and fills the file up to its fixed size.
func (r *Ring) load() error {
	body := make([]byte, ringSize)
	n, err := r.file.ReadAt(body, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if n < ringSize {
		if _, err := r.file.WriteAt(body, 0); err != nil {
			return err
		}
		if err := r.file.Sync(); err != nil {
			return err
		}
	}
	for i := range slots {
		if b, ok := decode(body[i*slotSize : (i+1)*slotSize]); ok {
			r.last = append(r.last, b)
		}
	}
	slices.SortFunc(r.last, func(a, b Beat) int { return cmp.Compare(a.Seq, b.Seq) })
	if len(r.last) > 0 {
		r.seq = r.last[len(r.last)-1].Seq
	}
	if b, ok := decode(body[blocks*blockSize : blocks*blockSize+slotSize]); ok {
		r.restart = b.Since
	}
	return nil
}

// Found returns the beats that were in the ring when it was opened, oldest
// first; torn and damaged slots are left out.
func (r *Ring) Found() []Beat { return slices.Clone(r.last) }

// Beat writes b under the next number and syncs it.
func (r *Ring) Beat(b Beat) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	b.Seq = r.seq + 1
	if err := r.put(place(b.Seq), b); err != nil {
		return err
	}
	r.seq = b.Seq
	return nil
}

// place is the slot of a beat: odd and even ones in different blocks.
func place(seq uint64) int {
	i := int(seq % slots)
	return i%blocks*perBlock + i/blocks
}

func (r *Ring) put(slot int, b Beat) error {
	body := b.encode()
	if _, err := r.file.WriteAt(body[:], int64(slot)*slotSize); err != nil {
		return fault.Wrap("heartbeat.Beat", err)
	}
	return fault.Wrap("heartbeat.Beat", syncData(r.file))
}

// Restart returns how long this PC takes from an orderly end to the next
// start of its operating system, or 0 while that is not known.
func (r *Ring) Restart() time.Duration {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.restart
}

// LearnRestart keeps how long a planned restart took; 0 forgets it.
func (r *Ring) LearnRestart(took time.Duration) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.restart = took
	return r.put(slots, Beat{Seq: 1, Kind: Closed, Since: took, Wall: time.Unix(0, 0)})
}

// Close closes the file.
func (r *Ring) Close() error { return r.file.Close() }
