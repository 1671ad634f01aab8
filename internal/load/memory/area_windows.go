package memory

import (
	"syscall"
	"unsafe"

	"belay/internal/fault"
)

var (
	kernel32             = syscall.NewLazyDLL("kernel32.dll")
	globalMemoryStatusEx = kernel32.NewProc("GlobalMemoryStatusEx")
	virtualAlloc         = kernel32.NewProc("VirtualAlloc")
	virtualFree          = kernel32.NewProc("VirtualFree")
	virtualLock          = kernel32.NewProc("VirtualLock")
	getCurrentProcess    = kernel32.NewProc("GetCurrentProcess")
	getProcessWorkingSet = kernel32.NewProc("GetProcessWorkingSetSize")
	setProcessWorkingSet = kernel32.NewProc("SetProcessWorkingSetSize")
)

// Source: winnt.h.
const (
	memCommit     = 0x1000
	memReserve    = 0x2000
	memRelease    = 0x8000
	pageReadWrite = 0x04
)

// memoryStatus is MEMORYSTATUSEX of sysinfoapi.h.
type memoryStatus struct {
	length, load                         uint32
	totalPhys, availPhys                 uint64
	totalPageFile, availPageFile         uint64
	totalVirtual, availVirtual, availExt uint64
}

// ReadRoom asks the system how much memory there is.
func ReadRoom() (Room, error) {
	s := memoryStatus{}
	s.length = uint32(unsafe.Sizeof(s))
	if ok, _, err := globalMemoryStatusEx.Call(uintptr(unsafe.Pointer(&s))); ok == 0 {
		return Room{}, fault.New(fault.Unavailable, "This system does not say how much memory is free.", "Ask for a size.").Because(err)
	}
	return Room{Total: int64(s.totalPhys), Available: int64(min(s.availPhys, s.availPageFile))}, nil
}

// reserve takes memory. The area begins on the border of a huge page.
func reserve(size int64) (*area, error) {
	all := size + hugeBytes
	at, _, err := virtualAlloc.Call(0, uintptr(all), memReserve|memCommit, pageReadWrite)
	if at == 0 {
		return nil, refused(size, err)
	}
	// The address comes as a number, from memory that Go does not manage.
	start := *(*unsafe.Pointer)(unsafe.Pointer(&at))
	whole := unsafe.Slice((*byte)(start), all)
	skip := -int64(at) & (hugeBytes - 1)
	a := &area{bytes: whole[skip : skip+size], whole: whole}
	a.widen()
	return a, nil
}

// widen lets the process hold the area: Windows locks no more than its
// smallest working set. Without it locking fails, and the check goes on.
func (a *area) widen() {
	self, _, _ := getCurrentProcess.Call()
	var low, high uintptr
	if ok, _, _ := getProcessWorkingSet.Call(self, uintptr(unsafe.Pointer(&low)), uintptr(unsafe.Pointer(&high))); ok != 0 {
		more := uintptr(len(a.bytes)) + hugeBytes
		_, _, _ = setProcessWorkingSet.Call(self, low+more, high+more)
	}
}

// lock keeps a piece from being swapped out.
func (a *area) lock(piece []byte) error {
	if ok, _, err := virtualLock.Call(uintptr(unsafe.Pointer(&piece[0])), uintptr(len(piece))); ok == 0 {
		return err
	}
	return nil
}

func (a *area) release() error {
	if ok, _, err := virtualFree.Call(uintptr(unsafe.Pointer(&a.whole[0])), 0, memRelease); ok == 0 {
		return err
	}
	return nil
}
