//go:build !linux

package store

import "os"

// syncData makes the content of a file durable.
func syncData(file *os.File) error { return file.Sync() }
