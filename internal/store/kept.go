package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// keptFiles are what a repair puts aside, all under one number.
type keptFiles struct {
	path   string
	number int
	names  []string
}

func (k *keptFiles) name(suffix string) string {
	return fmt.Sprintf("%s.damaged-%d%s", k.path, k.number, suffix)
}

// keep begins to put files aside, under a number that has nothing yet.
func (l *Log) keep() *keptFiles {
	return &keptFiles{path: l.path, number: lastKept(l.path) + 1}
}

// lastKept returns the highest number under which something is kept, or 0.
func lastKept(path string) (last int) {
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return 0 // and so nothing can be kept either, which is told there
	}
	for _, e := range entries {
		rest, ok := strings.CutPrefix(e.Name(), filepath.Base(path)+".damaged-")
		if ok {
			digits := rest[:len(rest)-len(strings.TrimLeft(rest, "0123456789"))]
			n, _ := strconv.Atoi(digits)
			last = max(last, n)
		}
	}
	return last
}

// copy keeps a copy of one of the files.
func (k *keptFiles) copy(suffix string) error {
	from, err := os.Open(k.path + suffix)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return unwritable(k.path, err)
	}
	defer from.Close()
	_, err = makeWitness(k.name(suffix), func(to io.Writer) error {
		_, err := io.Copy(to, from)
		return err
	})
	if err != nil {
		return unwritable(k.name(suffix), err)
	}
	k.names = append(k.names, filepath.Base(k.name(suffix)))
	return nil
}

// move puts the log aside and the new one in its place. Its write-ahead file
// goes first, and is gone for good before the next step: it must never stand
// beside another log.
func (k *keptFiles) move() error {
	for _, suffix := range []string{"-wal", "-shm", ""} {
		err := os.Rename(k.path+suffix, k.name(suffix))
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err == nil {
			err = syncFolder(filepath.Dir(k.path))
		}
		if err != nil {
			return unwritable(k.path, err)
		}
		k.names = append(k.names, filepath.Base(k.name(suffix)))
	}
	err := os.Rename(k.path+".new", k.path)
	if err == nil {
		err = syncFolder(filepath.Dir(k.path))
	}
	if err != nil {
		return unwritable(k.path, err)
	}
	return nil
}

// rescue writes the entries that nothing leads to into a file of their own, one
// JSON document per line.
func (k *keptFiles) rescue(lost []loss) error {
	if len(lost) == 0 {
		return nil
	}
	name := k.name(".entries.jsonl")
	_, err := makeWitness(name, func(to io.Writer) error {
		enc := json.NewEncoder(to)
		enc.SetEscapeHTML(false)
		for _, x := range lost {
			for _, e := range x.rest {
				if err := enc.Encode(e); err != nil {
					return err
				}
			}
		}
		return nil
	})
	if err != nil {
		return unwritable(name, err)
	}
	k.names = append(k.names, filepath.Base(name))
	return nil
}
