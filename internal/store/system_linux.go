package store

import (
	"errors"
	"os"
	"path/filepath"
	"unsafe"

	"golang.org/x/sys/unix"
)

// freeSpace returns how many bytes this user may still write beside path.
func freeSpace(path string) int64 {
	var s unix.Statfs_t
	if err := unix.Statfs(filepath.Dir(path), &s); err != nil {
		return 0
	}
	return int64(s.Bavail) * s.Frsize
}

// forgetCached has the system drop what it keeps of a file in memory, as far
// as that is on the disk, so that the next read comes from the disk.
func forgetCached(path string) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	// A file system may ignore it; then the read is one of the memory.
	_ = unix.Fadvise(int(file.Fd()), 0, 0, unix.FADV_DONTNEED)
	return file.Close()
}

// directBlock is what an uncached read has to be aligned to, in bytes. Common
// practice, no source: no disk in use has larger logical blocks.
const directBlock = 4096

// readDirect reads n bytes at off past the system's memory. Where that is not
// supported, direct is false, and the bytes may come from it.
func readDirect(path string, off int64, n int) (data []byte, direct bool, err error) {
	data, err = readAround(path, unix.O_DIRECT, off, n)
	if !errors.Is(err, unix.EINVAL) {
		return data, true, err
	}
	if err := forgetCached(path); err != nil {
		return nil, false, err
	}
	data, err = readAround(path, 0, off, n)
	return data, false, err
}

// readAround reads whole blocks and returns the n bytes at off, or fewer at the
// end of the file.
func readAround(path string, flag int, off int64, n int) ([]byte, error) {
	file, err := os.OpenFile(path, os.O_RDONLY|flag, 0)
	if err != nil {
		return nil, err
	}
	skip := int(off % directBlock)
	buffer := aligned((skip + n + directBlock - 1) / directBlock * directBlock)
	got, err := unix.Pread(int(file.Fd()), buffer, off-int64(skip))
	for errors.Is(err, unix.EINTR) {
		got, err = unix.Pread(int(file.Fd()), buffer, off-int64(skip))
	}
	got = max(got, 0)
	return buffer[min(skip, got):min(skip+n, got)], errors.Join(err, file.Close())
}

// aligned returns n bytes that begin at a multiple of directBlock in memory.
func aligned(n int) []byte {
	b := make([]byte, n+directBlock)
	skip := -int(uintptr(unsafe.Pointer(&b[0]))) & (directBlock - 1)
	return b[skip : skip+n]
}

// syncData makes the content and the length of a file durable, but not its
// times, which spares the disk a write.
func syncData(file *os.File) error {
	raw, err := file.SyscallConn()
	if err != nil {
		return err
	}
	var failed error
	err = raw.Control(func(fd uintptr) {
		failed = unix.EINTR
		for failed == unix.EINTR {
			failed = unix.Fdatasync(int(fd))
		}
	})
	if failed != nil {
		return &os.PathError{Op: "fdatasync", Path: file.Name(), Err: failed}
	}
	return err
}
