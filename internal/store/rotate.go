package store

import (
	"fmt"
	"os"
	"slices"
)

// keptBackups is how many backups are kept beside the log. Chosen: one may be
// damaged and one may be half replaced, and a sound one is left.
const keptBackups = 3

// backups returns the paths of the backups beside the log, the newest first.
func (l *Log) backups() []string {
	type backup struct {
		path string
		time int64
	}
	var found []backup
	for n := range keptBackups {
		path := l.backupPath(n + 1)
		if info, err := os.Stat(path); err == nil {
			found = append(found, backup{path, info.ModTime().UnixNano()})
		}
	}
	slices.SortFunc(found, func(a, b backup) int { return int(min(1, max(-1, b.time-a.time))) })
	var paths []string
	for _, b := range found {
		paths = append(paths, b.path)
	}
	return paths
}

func (l *Log) backupPath(n int) string { return fmt.Sprintf("%s.backup-%d", l.path, n) }

// oldestBackup returns the path of the backup to replace, or one that is free.
func (l *Log) oldestBackup() string {
	have := l.backups()
	for n := range keptBackups {
		if path := l.backupPath(n + 1); !slices.Contains(have, path) {
			return path
		}
	}
	return have[len(have)-1]
}
