package store

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// keptBackups is how many backups are kept beside the log. Chosen: one may be
// damaged and one may be half written, and a sound one is left.
const keptBackups = 3

// backupNumbers returns the numbers of the backups beside the log, the newest
// first. They count up: clocks may jump back.
func (l *Log) backupNumbers() []int {
	entries, err := os.ReadDir(filepath.Dir(l.path))
	if err != nil {
		return nil // and so the folder cannot be used either, which is told there
	}
	var numbers []int
	for _, e := range entries {
		rest, ok := strings.CutPrefix(e.Name(), filepath.Base(l.path)+".backup-")
		if n, err := strconv.Atoi(rest); ok && err == nil && n > 0 {
			numbers = append(numbers, n)
		}
	}
	slices.Sort(numbers)
	slices.Reverse(numbers)
	return numbers
}

// backups returns the paths of the backups beside the log, the newest first.
func (l *Log) backups() (paths []string) {
	for _, n := range l.backupNumbers() {
		paths = append(paths, l.backupPath(n))
	}
	return paths
}

func (l *Log) backupPath(n int) string { return fmt.Sprintf("%s.backup-%d", l.path, n) }

// nextBackup returns the path for a new backup.
func (l *Log) nextBackup() string {
	for _, n := range l.backupNumbers() {
		return l.backupPath(n + 1)
	}
	return l.backupPath(1)
}

// dropOldBackups removes all backups but the newest.
func (l *Log) dropOldBackups() error {
	for i, path := range l.backups() {
		if i < keptBackups {
			continue
		}
		if err := os.Remove(path); err != nil {
			return unwritable(path, err)
		}
	}
	return nil
}
