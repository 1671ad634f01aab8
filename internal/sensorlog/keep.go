package sensorlog

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"

	"belay/internal/fault"
)

// Memory remembers confirmed mappings by heading, in a file of its own: it
// holds no result, and losing it costs one confirmation. It is safe for
// concurrent use.
type Memory struct {
	mu   sync.Mutex
	path string
}

// remembered bounds how many headings are kept. Chosen: far more programs
// than one person logs with.
const remembered = 200

// NewMemory keeps mappings in the file at path, which may not be there yet.
func NewMemory(path string) *Memory { return &Memory{path: path} }

// Recall returns the mapping of a heading by its key. A file that cannot be
// read remembers nothing.
func (m *Memory) Recall(key string) (Mapping, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	found, ok := m.load()[key]
	return found, ok
}

// Remember keeps the mapping of a heading.
func (m *Memory) Remember(key string, mapping Mapping) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	all := m.load()
	for old := range all {
		if len(all) < remembered {
			break
		}
		delete(all, old)
	}
	all[key] = mapping
	body, err := json.MarshalIndent(all, "", " ")
	if err == nil {
		err = os.WriteFile(m.path+".new", body, 0o600)
	}
	if err == nil {
		err = os.Rename(m.path+".new", m.path)
	}
	if err != nil {
		return fault.New(fault.Unavailable, "The choice of columns cannot be saved.", "Check that the disk is not full.").Because(err)
	}
	return nil
}

func (m *Memory) load() map[string]Mapping {
	all := map[string]Mapping{}
	if body, err := os.ReadFile(m.path); err == nil {
		_ = json.Unmarshal(body, &all) // damaged: begin anew
	}
	return all
}

// Held keeps logs while a person confirms their columns. Each is a file in
// one folder; those of more than an hour ago, and more than a few, go. It is
// safe for concurrent use.
type Held struct {
	mu     sync.Mutex
	folder string
	order  []string
}

// heldLogs and heldFor bound what waits for a confirmation. Chosen: a few
// tabs, and a long coffee.
const (
	heldLogs = 4
	heldFor  = time.Hour
)

// NewHeld keeps logs in folder, which is made when it is needed. Logs left
// there by an earlier run are removed.
func NewHeld(folder string) *Held {
	old, err := filepath.Glob(filepath.Join(folder, "*.log"))
	if err == nil {
		for _, f := range old {
			_ = os.Remove(f) // only rubbish
		}
	}
	return &Held{folder: folder}
}

// Keep writes a log down and returns its key.
func (h *Held) Keep(r io.Reader) (string, error) {
	if err := os.MkdirAll(h.folder, 0o700); err != nil {
		return "", unkept(err)
	}
	key := rand.Text()
	file, err := os.OpenFile(h.path(key), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return "", unkept(err)
	}
	n, err := io.Copy(file, io.LimitReader(r, MaxBytes+1))
	if err = errors.Join(err, file.Close()); err != nil {
		return "", errors.Join(unkept(err), os.Remove(h.path(key)))
	}
	if n > MaxBytes {
		return "", errors.Join(fault.Newf(fault.Limit, "Cut it to the time of the trial, and send that.",
			"The log is larger than %d MiB.", MaxBytes>>20), os.Remove(h.path(key)))
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.order = append(h.order, key)
	for len(h.order) > heldLogs {
		_ = os.Remove(h.path(h.order[0]))
		h.order = h.order[1:]
	}
	return key, nil
}

// Open opens a kept log. It returns a NotFound fault for one that is gone.
func (h *Held) Open(key string) (io.ReadCloser, error) {
	gone := fault.New(fault.NotFound, "This log is not here any more.", "Choose the file again.")
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, k := range h.order {
		if k != key {
			continue
		}
		info, err := os.Stat(h.path(k))
		if err != nil || time.Since(info.ModTime()) > heldFor {
			return nil, gone
		}
		file, err := os.Open(h.path(k))
		if errors.Is(err, fs.ErrNotExist) {
			return nil, gone
		}
		return file, fault.Wrap("sensorlog.Open", err)
	}
	return nil, gone
}

// Drop removes a kept log.
func (h *Held) Drop(key string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for i, k := range h.order {
		if k == key {
			h.order = append(h.order[:i], h.order[i+1:]...)
			_ = os.Remove(h.path(k))
			return
		}
	}
}

func (h *Held) path(key string) string { return filepath.Join(h.folder, key+".log") }

func unkept(err error) error {
	return fault.New(fault.Unavailable, "The log could not be taken in.", "Check that the disk is not full, and send it again.").Because(err)
}
