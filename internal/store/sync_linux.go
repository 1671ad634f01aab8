package store

import (
	"os"
	"syscall"
)

// syncData makes the content and the length of a file durable, but not its
// times, which spares the disk a write.
func syncData(file *os.File) error {
	raw, err := file.SyscallConn()
	if err != nil {
		return err
	}
	var failed error
	err = raw.Control(func(fd uintptr) {
		failed = syscall.EINTR
		for failed == syscall.EINTR {
			failed = syscall.Fdatasync(int(fd))
		}
	})
	if failed != nil {
		return &os.PathError{Op: "fdatasync", Path: file.Name(), Err: failed}
	}
	return err
}
