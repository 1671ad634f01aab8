//go:build !windows

package store

import (
	"errors"
	"os"
	"syscall"
)

// takeLock opens the file and locks it, or returns errHeld.
func takeLock(path string) (*os.File, error) {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	err = syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if err == nil {
		return file, nil
	}
	if errors.Is(err, syscall.EWOULDBLOCK) {
		err = errHeld
	}
	return nil, errors.Join(err, file.Close())
}

// syncFolder makes the names in a folder durable.
func syncFolder(path string) error {
	folder, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(folder.Sync(), folder.Close())
}

// isFull reports whether the disk, or what this user may use of it, is full.
func isFull(err error) bool { return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) }
