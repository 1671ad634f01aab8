package store

import (
	"errors"
	"io"
	"os"
	"strings"
	"unicode"

	"belay/internal/fault"
)

// errHeld is what takeLock returns when another process holds the lock.
var errHeld = errors.New("the lock is held")

// maxAddress is the longest address that a lock file tells, in bytes
// (chosen: longer than any local address).
const maxAddress = 200

// openLock takes the lock beside the log. The lock ends with the process,
// however that ends; the lock file stays, for removing it would let two
// processes lock two files of one name.
func openLock(path string) (*os.File, error) {
	file, err := takeLock(path)
	if errors.Is(err, errHeld) {
		return nil, heldBy(readAddress(path)).Because(err)
	}
	if err != nil {
		return nil, fault.New(fault.Unavailable,
			"The lock file beside Belay's data cannot be opened.",
			"Check that you may write this file: "+path).Because(err)
	}
	if err := file.Truncate(0); err != nil {
		return nil, errors.Join(unwritable(path, err), file.Close())
	}
	return file, nil
}

func heldBy(address string) *fault.Error {
	if address == "" {
		return fault.New(fault.Unavailable,
			"Another Belay is using this data.", "Close the other Belay, then start this one again.")
	}
	return fault.Newf(fault.Unavailable,
		"Open that address, or close the other Belay and start this one again.",
		"Another Belay is using this data. It is at %s", address)
}

// readAddress returns what the holder of the lock wrote, or "".
func readAddress(path string) string {
	file, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, maxAddress))
	if err != nil {
		return ""
	}
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) || r == unicode.ReplacementChar {
			return -1
		}
		return r
	}, string(text))
}

// SetAddress writes the address that a second Belay tells its user when it
// finds this log in use. It is cut at 200 bytes.
func (l *Log) SetAddress(address string) error {
	if err := l.lock.Truncate(0); err != nil {
		return fault.Wrap("store.SetAddress", err)
	}
	_, err := l.lock.WriteAt([]byte(address[:min(len(address), maxAddress)]), 0)
	return fault.Wrap("store.SetAddress", err)
}
