package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"slices"
	"strings"
)

// tally is the outcome of all tests.
type tally struct {
	passed   int
	failures []string // package and test; a package alone if it did not build or crashed
	unsteady []string // failed among all others, passed alone
	skips    []string // test and reason
}

// line is one line of "go test -json".
type line struct {
	Action, Package, Test, Output string
}

// test runs every test and prints the output of those that fail. A package
// that fails gets a second run alone, so that a busy machine does not pass
// for a fault; what then passes is listed as unsteady, never hidden.
func test(stderr io.Writer) (tally, error) {
	all, err := goTest(stderr, "./...")
	if err != nil || len(all.failures) == 0 {
		return all, err
	}
	var failures []string
	for _, pkg := range packages(all.failures) {
		again, err := goTest(stderr, "-count=1", "-p=1", pkg)
		if err != nil {
			return all, err
		}
		first := of(pkg, all.failures)
		for _, f := range first {
			if slices.Contains(again.failures, f) || len(again.failures) > 0 && f == pkg {
				continue
			}
			all.unsteady = append(all.unsteady, f)
			if f != pkg {
				all.passed++
			}
		}
		failures = append(failures, again.failures...)
	}
	all.failures = failures
	return all, nil
}

// packages returns the packages of failures, each once.
func packages(failures []string) []string {
	var out []string
	for _, f := range failures {
		pkg, _, _ := strings.Cut(f, " ")
		if !slices.Contains(out, pkg) {
			out = append(out, pkg)
		}
	}
	return out
}

// of returns the failures of one package.
func of(pkg string, failures []string) []string {
	var out []string
	for _, f := range failures {
		if p, _, _ := strings.Cut(f, " "); p == pkg {
			out = append(out, f)
		}
	}
	return out
}

func goTest(stderr io.Writer, args ...string) (tally, error) {
	args = append([]string{"test", "-json", "-timeout", "20m"}, args...)
	fmt.Fprintln(stderr, "+ go", strings.Join(args, " "))
	c := exec.Command("go", args...)
	c.Stderr = stderr
	out, err := c.StdoutPipe()
	if err != nil {
		return tally{}, err
	}
	if err := c.Start(); err != nil {
		return tally{}, err
	}
	t, rerr := read(out, stderr)
	if err := c.Wait(); err != nil && len(t.failures) == 0 {
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
		name := strings.TrimSpace(l.Package + " " + l.Test)
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
		// A test that holds others fails by itself only if none of them did,
		// and so does a package.
		if l.Test != "" && !(holds && t.failedUnder(name+"/")) || l.Test == "" && len(of(l.Package, t.failures)) == 0 {
			t.failures = append(t.failures, name)
		}
	case "skip":
		if l.Test != "" {
			t.skips = append(t.skips, name+": "+reason(output))
		}
	}
}

func (t *tally) failedUnder(prefix string) bool {
	return slices.ContainsFunc(t.failures, func(f string) bool { return strings.HasPrefix(f, prefix) })
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
