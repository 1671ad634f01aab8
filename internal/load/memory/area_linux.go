package memory

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"syscall"
	"unsafe"

	"belay/internal/fault"
)

// Advice to the kernel that package syscall does not name.
// Source: Linux, include/uapi/asm-generic/mman-common.h.
const (
	madviseHugePage = 14
	madviseDontDump = 16
)

// ReadRoom asks the system how much memory there is.
func ReadRoom() (Room, error) {
	f, err := os.Open("/proc/meminfo")
	if err != nil {
		return Room{}, unknownRoom(err)
	}
	defer f.Close()
	return parseRoom(f)
}

func parseRoom(r io.Reader) (Room, error) {
	var room Room
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		name, rest, _ := strings.Cut(lines.Text(), ":")
		var into *int64
		switch name {
		case "MemTotal":
			into = &room.Total
		case "MemAvailable":
			into = &room.Available
		default:
			continue
		}
		kib, err := strconv.ParseInt(strings.TrimSuffix(strings.TrimSpace(rest), " kB"), 10, 53)
		if err != nil {
			return Room{}, unknownRoom(err)
		}
		*into = kib << 10
	}
	if err := lines.Err(); err != nil {
		return Room{}, unknownRoom(err)
	}
	if room.Total <= 0 || room.Available <= 0 {
		return Room{}, unknownRoom(fmt.Errorf("no MemTotal or MemAvailable"))
	}
	return room, nil
}

// reserve takes address space; memory comes with the first touch. The area
// begins on the border of a huge page.
func reserve(size int64) (*area, error) {
	whole, err := syscall.Mmap(-1, 0, int(size+hugeBytes), syscall.PROT_READ|syscall.PROT_WRITE,
		syscall.MAP_PRIVATE|syscall.MAP_ANON|syscall.MAP_NORESERVE)
	if err != nil {
		return nil, refused(size, err)
	}
	skip := -int64(uintptr(unsafe.Pointer(&whole[0]))) & (hugeBytes - 1)
	a := &area{bytes: whole[skip : skip+size], whole: whole}
	// Both are advice: without them the check is slower, or a crash writes a
	// larger file.
	_ = syscall.Madvise(a.whole, madviseHugePage)
	_ = syscall.Madvise(a.whole, madviseDontDump)
	return a, nil
}

// lock keeps a piece from being swapped out.
func (a *area) lock(piece []byte) error { return syscall.Mlock(piece) }

func (a *area) release() error { return syscall.Munmap(a.whole) }

func unknownRoom(err error) error {
	return fault.New(fault.Unavailable, "This system does not say how much memory is free.", "Ask for a size.").Because(err)
}
