// Package rigtest is for tests only: trees of invented PCs in the kernel's
// documented layout, written briefly in testdata/*.tree.
//
// A line "PATH = VALUE" makes a file. A range such as {0-7} in a path makes
// one file for each number, which the value may name as {i}, {i/2}, {i%4} or
// {i*1000}. "PATH <<" begins a file of several lines that ">>" ends; "@{0-7}"
// behind its path repeats the lines. "link PATH -> TARGET" makes a symbolic
// link, "deny PATH" a file that may not be read, and "smbios VERSION" begins
// the firmware's tables, which "end" ends. Names in the trees are invented.
package rigtest

import (
	"embed"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing/fstest"
)

//go:embed testdata/*.tree
var trees embed.FS

// Names lists the trees.
func Names() []string {
	files, err := fs.Glob(trees, "testdata/*.tree")
	if err != nil {
		panic(err)
	}
	var names []string
	for _, f := range files {
		names = append(names, strings.TrimSuffix(path.Base(f), ".tree"))
	}
	return names
}

// Tree is the root folder of an invented PC.
type Tree struct {
	fstest.MapFS
	denied []string
}

// Open opens a file, or refuses one that may not be read.
func (t Tree) Open(name string) (fs.File, error) {
	if slices.Contains(t.denied, name) {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrPermission}
	}
	return t.MapFS.Open(name)
}

// Load returns a tree by name.
func Load(name string) Tree {
	body, err := fs.ReadFile(trees, "testdata/"+name+".tree")
	if err != nil {
		panic(err)
	}
	t, err := Parse(string(body))
	if err != nil {
		panic(name + ": " + err.Error())
	}
	return t
}

// Write makes the tree's files below dir, but for those that may not be read.
func (t Tree) Write(dir string) error {
	for name, f := range t.MapFS {
		if slices.Contains(t.denied, name) {
			continue
		}
		at := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(at), 0o755); err != nil {
			return err
		}
		if f.Mode&fs.ModeSymlink != 0 {
			if err := os.Symlink(string(f.Data), at); err != nil {
				return err
			}
			continue
		}
		if err := os.WriteFile(at, f.Data, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// Parse reads a tree.
func Parse(text string) (Tree, error) {
	t := Tree{MapFS: fstest.MapFS{}}
	lines := strings.Split(text, "\n")
	for n := 0; n < len(lines); n++ {
		line := strings.TrimSpace(lines[n])
		block := func(end string) string {
			from := n + 1
			for n++; n < len(lines) && strings.TrimSpace(lines[n]) != end; n++ {
			}
			return strings.Join(lines[from:min(n, len(lines))], "\n") + "\n"
		}
		var err error
		switch name, value, plain := strings.Cut(line, " = "); {
		case line == "" || strings.HasPrefix(line, "#"):
		case strings.HasPrefix(line, "link "):
			from, to, _ := strings.Cut(strings.TrimPrefix(line, "link "), " -> ")
			t.MapFS[from] = &fstest.MapFile{Data: []byte(to), Mode: fs.ModeSymlink | 0o777}
		case strings.HasPrefix(line, "deny "):
			name := strings.TrimPrefix(line, "deny ")
			t.MapFS[name] = &fstest.MapFile{Mode: 0o400}
			t.denied = append(t.denied, name)
		case strings.HasPrefix(line, "smbios "):
			err = t.tables(strings.TrimPrefix(line, "smbios "), block("end"))
		case strings.HasSuffix(line, " <<"):
			t.many(strings.TrimSuffix(line, " <<"), block(">>"))
		case plain:
			each(name, func(name string, i int) { t.put(name, fill(value, i)+"\n") })
		default:
			err = fmt.Errorf("not understood")
		}
		if err != nil {
			return t, fmt.Errorf("line %d: %q: %w", n+1, line, err)
		}
	}
	return t, nil
}

func (t Tree) put(name, body string) {
	t.MapFS[name] = &fstest.MapFile{Data: []byte(body), Mode: 0o444}
}

// many makes a file of several lines, repeated for each number of a range.
func (t Tree) many(name, body string) {
	at, numbers, repeated := strings.Cut(name, "@")
	if !repeated {
		t.put(name, body)
		return
	}
	var all strings.Builder
	each(numbers, func(_ string, i int) { all.WriteString(fill(body, i)) })
	t.put(at, all.String())
}

var (
	ranges = regexp.MustCompile(`\{(\d+)-(\d+)\}`)
	counts = regexp.MustCompile(`\{i(?:([/%*+])(\d+))?\}`)
)

// each calls do for every number of the range in a name, or once.
func each(name string, do func(name string, i int)) {
	at := ranges.FindStringSubmatchIndex(name)
	if at == nil {
		do(name, 0)
		return
	}
	low, _ := strconv.Atoi(name[at[2]:at[3]])
	high, _ := strconv.Atoi(name[at[4]:at[5]])
	for i := low; i <= high; i++ {
		do(name[:at[0]]+strconv.Itoa(i)+name[at[1]:], i)
	}
}

// fill replaces {i} and its sums by numbers.
func fill(text string, i int) string {
	return counts.ReplaceAllStringFunc(text, func(s string) string {
		m := counts.FindStringSubmatch(s)
		by, _ := strconv.Atoi(m[2])
		switch m[1] {
		case "/":
			return strconv.Itoa(i / by)
		case "%":
			return strconv.Itoa(i % by)
		case "*":
			return strconv.Itoa(i * by)
		case "+":
			return strconv.Itoa(i + by)
		}
		return strconv.Itoa(i)
	})
}
