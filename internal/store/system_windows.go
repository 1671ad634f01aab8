//go:build windows

package store

import (
	"errors"
	"os"
	"syscall"
)

// sharingViolation is Windows' error for a file that another process opened
// without sharing. Source: Microsoft, System Error Codes (from memory).
const sharingViolation = syscall.Errno(32)

// takeLock opens the file so that others may read but not write it, which
// is what keeps a second takeLock out, or returns errHeld.
func takeLock(path string) (*os.File, error) {
	name, err := syscall.UTF16PtrFromString(path)
	if err != nil {
		return nil, err
	}
	handle, err := syscall.CreateFile(name, syscall.GENERIC_READ|syscall.GENERIC_WRITE,
		syscall.FILE_SHARE_READ, nil, syscall.OPEN_ALWAYS, syscall.FILE_ATTRIBUTE_NORMAL, 0)
	if errors.Is(err, sharingViolation) {
		return nil, errHeld
	}
	if err != nil {
		return nil, err
	}
	return os.NewFile(uintptr(handle), path), nil
}

// syncFolder does nothing: Windows has no call for it, and NTFS journals its
// names.
func syncFolder(string) error { return nil }

// Windows' errors for a full disk. Source: Microsoft, System Error Codes (from
// memory).
const (
	handleDiskFull = syscall.Errno(39)
	diskFullError  = syscall.Errno(112)
)

// isFull reports whether the disk is full.
func isFull(err error) bool { return errors.Is(err, handleDiskFull) || errors.Is(err, diskFullError) }
