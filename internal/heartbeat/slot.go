// Package heartbeat keeps a ring of signs of life on disk while a trial runs,
// so that a crash of the PC can be dated afterwards.
//
// The ring is one preallocated file, written in place and synced with each
// beat. docs/formats/heartbeat.md describes it.
package heartbeat

import (
	"encoding/binary"
	"hash/crc32"
	"hash/fnv"
	"math"
	"time"

	"belay/internal/units"
)

// Kind says what a beat means.
type Kind uint8

const (
	Alive  Kind = iota + 1 // a trial is running
	Ended                  // the trial ended and was recorded, or was stopped
	Closed                 // Belay closed in an orderly way
)

// Beat is one sign of life.
type Beat struct {
	Seq     uint64        // 1, 2, 3, … over the life of the ring; the order of beats
	Kind    Kind          // what it means
	Wall    time.Time     // for display only; it may jump
	Since   time.Duration // time since the start of the operating system, counted while it sleeps too
	Boot    uint64        // Name of the boot's id
	Session uint64        // Name of the session's id, 0 for none
	Trial   uint32        // number of the trial in the session, 0 for none
	Ran     time.Duration // since the trial began, to a tenth of a second; no clock that may jump
	Late    time.Duration // how late the beat came, to the millisecond
	Temp    units.Celsius // hottest core, to a tenth; 0 when not read
	Power   units.Watt    // package power, whole watts; 0 when not read
}

// Name shortens an id to the 64 bits that a slot has room for.
func Name(id string) uint64 {
	if id == "" {
		return 0
	}
	h := fnv.New64a()
	h.Write([]byte(id))
	return h.Sum64()
}

// slotSize is in bytes. Chosen: the fields of a beat and their check sum fit,
// and whole slots fill a block of 4096 bytes.
const slotSize = 64

const tenth = time.Second / 10

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

func (b Beat) encode() [slotSize]byte {
	var out [slotSize]byte
	le := binary.LittleEndian
	le.PutUint64(out[0:], b.Seq)
	le.PutUint64(out[8:], uint64(b.Wall.UnixNano()))
	le.PutUint64(out[16:], uint64(b.Since))
	le.PutUint64(out[24:], b.Boot)
	le.PutUint64(out[32:], b.Session)
	le.PutUint32(out[40:], b.Trial)
	le.PutUint32(out[44:], uint32(min(b.Late/time.Millisecond, math.MaxUint32)))
	le.PutUint16(out[48:], uint16(int16(clamp(math.Round(float64(b.Temp)*10), math.MaxInt16))))
	le.PutUint16(out[50:], uint16(clamp(math.Round(float64(b.Power)), math.MaxInt16)))
	out[52] = byte(b.Kind)
	le.PutUint32(out[56:], uint32(min(b.Ran/tenth, math.MaxUint32)))
	le.PutUint32(out[60:], crc32.Checksum(out[:60], castagnoli))
	return out
}

func clamp(x, limit float64) float64 { return max(-limit, min(x, limit)) }

// decode reports false for a slot that is empty, torn or damaged.
func decode(slot []byte) (Beat, bool) {
	le := binary.LittleEndian
	if crc32.Checksum(slot[:60], castagnoli) != le.Uint32(slot[60:]) {
		return Beat{}, false
	}
	b := Beat{
		Seq:     le.Uint64(slot[0:]),
		Wall:    time.Unix(0, int64(le.Uint64(slot[8:]))).UTC(),
		Since:   time.Duration(le.Uint64(slot[16:])),
		Boot:    le.Uint64(slot[24:]),
		Session: le.Uint64(slot[32:]),
		Trial:   le.Uint32(slot[40:]),
		Late:    time.Duration(le.Uint32(slot[44:])) * time.Millisecond,
		Temp:    units.Celsius(float64(int16(le.Uint16(slot[48:]))) / 10),
		Power:   units.Watt(int16(le.Uint16(slot[50:]))),
		Kind:    Kind(slot[52]),
		Ran:     time.Duration(le.Uint32(slot[56:])) * tenth,
	}
	return b, b.Seq > 0 && b.Kind >= Alive && b.Kind <= Closed
}
