package lossyfs

import (
	"bytes"
	"maps"
	"math/rand/v2"
	"slices"
	"sync"
	"syscall"
)

// sector is what a disk writes whole or not at all, in bytes. Common practice,
// no source.
const sector = 512

// Op is an operation that can be made to fail.
type Op string

const (
	Write    Op = "write"
	Truncate Op = "truncate"
	Sync     Op = "sync" // of a file
	SyncDir  Op = "sync of the folder"
	Create   Op = "create"
	Rename   Op = "rename"
	Remove   Op = "remove"
)

// Disk is a folder of files in memory. It is safe for concurrent use.
type Disk struct {
	mu      sync.Mutex
	names   map[string]*file // as a running PC sees them
	kept    map[string]*file // as they survive a cut
	renamed []change         // since the last sync of the folder
	serial  uint64
	off     bool
	fail    func(op Op, name string) syscall.Errno
	size    int64 // limit of all files together in bytes; 0 is none
}

// change is one step in the life of the folder: names with what they stand
// for from then on, nil for gone.
type change map[string]*file

// file is the content of a file.
type file struct {
	id     uint64
	mode   uint32
	live   []byte
	synced []byte
	writes []write // since the last sync
}

// write is data at an offset; nil data cuts or stretches the file to offset.
type write struct {
	off  int64
	data []byte
}

// New returns a disk on which files are synced.
func New(files map[string][]byte) *Disk {
	d := &Disk{names: map[string]*file{}, kept: map[string]*file{}}
	for name, data := range files {
		f := d.newFile(0o600)
		f.live, f.synced = bytes.Clone(data), bytes.Clone(data)
		d.names[name], d.kept[name] = f, f
	}
	return d
}

func (d *Disk) newFile(mode uint32) *file {
	d.serial++
	return &file{id: d.serial + 1, mode: mode} // 1 is the folder
}

// Fail lets choose decide before each operation whether it fails, with an
// error other than 0. It runs under the lock of the disk.
func (d *Disk) Fail(choose func(op Op, name string) syscall.Errno) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.fail = choose
}

// Limit sets how many bytes all files together may hold; 0 is no limit.
func (d *Disk) Limit(size int64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.size = size
}

// Used returns how many bytes the files hold.
func (d *Disk) Used() int64 {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.used()
}

func (d *Disk) used() (n int64) {
	for _, f := range d.names {
		n += int64(len(f.live))
	}
	return n
}

// Files returns the content of all files as a running PC sees it.
func (d *Disk) Files() map[string][]byte {
	d.mu.Lock()
	defer d.mu.Unlock()
	out := map[string][]byte{}
	for name, f := range d.names {
		out[name] = bytes.Clone(f.live)
	}
	return out
}

// Cut stops the disk and returns the files that survive. Every operation that
// comes later fails.
func (d *Disk) Cut(luck *rand.Rand) map[string][]byte {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.off = true
	names := maps.Clone(d.kept)
	for _, c := range d.renamed {
		if luck.IntN(2) == 0 {
			c.apply(names)
		}
	}
	out := map[string][]byte{}
	for _, name := range slices.Sorted(maps.Keys(names)) { // in one order, for luck is drawn
		out[name] = names[name].survive(luck)
	}
	return out
}

func (c change) apply(names map[string]*file) {
	for name, f := range c {
		if f == nil {
			delete(names, name)
		} else {
			names[name] = f
		}
	}
}

// survive returns what a cut leaves of a file. Half of the cuts keep the
// unsynced writes up to some moment, as most disks do; the others any of them.
func (f *file) survive(luck *rand.Rand) []byte {
	data := bytes.Clone(f.synced)
	until, ordered := luck.IntN(len(f.writes)+1), luck.IntN(2) == 0
	for i, w := range f.writes {
		switch {
		case ordered && i < until, !ordered && luck.IntN(3) == 0:
			data = w.apply(data)
		case ordered && i == until, !ordered && luck.IntN(2) == 0:
			data = w.torn(data, luck)
		}
	}
	return data
}

func (w write) apply(data []byte) []byte {
	if w.data == nil {
		if w.off <= int64(len(data)) {
			return data[:w.off]
		}
		return append(data, make([]byte, w.off-int64(len(data)))...)
	}
	if end := w.off + int64(len(w.data)); end > int64(len(data)) {
		data = append(data, make([]byte, end-int64(len(data)))...)
	}
	copy(data[w.off:], w.data)
	return data
}

// torn applies some of the sectors of a write.
func (w write) torn(data []byte, luck *rand.Rand) []byte {
	for at := 0; at < len(w.data); {
		end := min(len(w.data), at+sector-int((w.off+int64(at))%sector))
		if luck.IntN(2) == 0 {
			data = write{w.off + int64(at), w.data[at:end]}.apply(data)
		}
		at = end
	}
	return data
}

// allow reports whether an operation may go on. The lock is held.
func (d *Disk) allow(op Op, name string) syscall.Errno {
	if d.off {
		return syscall.EIO
	}
	if d.fail != nil {
		return d.fail(op, name)
	}
	return 0
}

// nameOf returns a name of f, or "".
func (d *Disk) nameOf(f *file) string {
	for name, other := range d.names {
		if other == f {
			return name
		}
	}
	return ""
}

// change changes names. The lock is held.
func (d *Disk) change(c change) {
	c.apply(d.names)
	d.renamed = append(d.renamed, c)
}

func (d *Disk) write(f *file, data []byte, off int64) syscall.Errno {
	d.mu.Lock()
	defer d.mu.Unlock()
	if e := d.allow(Write, d.nameOf(f)); e != 0 {
		return e
	}
	if more := off + int64(len(data)) - int64(len(f.live)); more > 0 && d.size > 0 && d.used()+more > d.size {
		return syscall.ENOSPC
	}
	f.do(write{off, bytes.Clone(data)})
	return 0
}

func (f *file) do(w write) {
	f.live = w.apply(f.live)
	f.writes = append(f.writes, w)
}

func (d *Disk) truncate(f *file, size int64) syscall.Errno {
	d.mu.Lock()
	defer d.mu.Unlock()
	if e := d.allow(Truncate, d.nameOf(f)); e != 0 {
		return e
	}
	f.do(write{off: size})
	return 0
}

func (d *Disk) sync(f *file) syscall.Errno {
	d.mu.Lock()
	defer d.mu.Unlock()
	if e := d.allow(Sync, d.nameOf(f)); e != 0 {
		return e
	}
	for _, w := range f.writes {
		f.synced = w.apply(f.synced)
	}
	f.writes = nil
	return 0
}

func (d *Disk) syncDir() syscall.Errno {
	d.mu.Lock()
	defer d.mu.Unlock()
	if e := d.allow(SyncDir, ""); e != 0 {
		return e
	}
	d.kept, d.renamed = maps.Clone(d.names), nil
	return 0
}
