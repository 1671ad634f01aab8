package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"strings"
)

// tally is the outcome of all tests.
type tally struct {
	passed, failed int
	skips          []string // test and reason
}

// line is one line of "go test -json".
type line struct {
	Action, Package, Test, Output string
}

// test runs every test and prints the output of those that fail.
func test(stderr io.Writer) (tally, error) {
	fmt.Fprintln(stderr, "+ go test ./...")
	c := exec.Command("go", "test", "-json", "-timeout", "20m", "./...")
	c.Stderr = stderr
	out, err := c.StdoutPipe()
	if err != nil {
		return tally{}, err
	}
	if err := c.Start(); err != nil {
		return tally{}, err
	}
	t, rerr := read(out, stderr)
	if err := c.Wait(); err != nil && t.failed == 0 {
		return t, fmt.Errorf("go test: %w", err)
	}
	return t, rerr
}

// read counts the tests of a stream of lines. Only the innermost tests count,
// not the ones that merely hold others.
func read(r io.Reader, stderr io.Writer) (tally, error) {
	var t tally
	said := map[string]*strings.Builder{}
	holds := map[string]bool{}
	d := json.NewDecoder(r)
	for {
		var l line
		if err := d.Decode(&l); errors.Is(err, io.EOF) {
			return t, nil
		} else if err != nil {
			return t, fmt.Errorf("the output of go test could not be read: %w", err)
		}
		name := l.Package + " " + l.Test
		if said[name] == nil {
			said[name] = &strings.Builder{}
		}
		said[name].WriteString(l.Output)
		if i := strings.LastIndexByte(l.Test, '/'); i > 0 {
			holds[l.Package+" "+l.Test[:i]] = true
		}
		t.count(l, name, said[name].String(), holds[name], stderr)
	}
}

func (t *tally) count(l line, name, output string, holds bool, stderr io.Writer) {
	switch l.Action {
	case "pass":
		if l.Test != "" && !holds {
			t.passed++
		}
		if l.Test == "" {
			fmt.Fprintln(stderr, "ok  ", l.Package)
		}
	case "fail":
		if l.Test == "" || !holds {
			fmt.Fprintf(stderr, "FAIL %s\n%s\n", name, output)
		}
		if l.Test != "" && !holds || l.Test == "" && t.failed == 0 {
			t.failed++
		}
	case "skip":
		if l.Test != "" {
			t.skips = append(t.skips, name+": "+reason(output))
		}
	}
}

// reason is what a skipped test printed, on one line.
func reason(output string) string {
	var kept []string
	for _, s := range strings.Split(output, "\n") {
		s = strings.TrimSpace(s)
		if s != "" && !strings.HasPrefix(s, "===") && !strings.HasPrefix(s, "---") {
			kept = append(kept, s)
		}
	}
	return strings.Join(kept, " ")
}
