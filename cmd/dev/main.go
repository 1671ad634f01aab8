// Command dev runs the tasks of contributors: "go run ./cmd/dev test" formats,
// vets, analyses and tests the whole module and prints a closing count.
package main

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

// staticcheck is pinned, so that a new release cannot break an old commit.
const staticcheck = "honnef.co/go/tools/cmd/staticcheck@v0.8.2"

func run(args []string, stdout, stderr io.Writer) int {
	if len(args) != 1 || args[0] != "test" {
		fmt.Fprintln(stderr, "usage: go run ./cmd/dev test")
		return 2
	}
	browser(stderr)
	for _, check := range []func(io.Writer) error{formatted, vetted, analysed} {
		if err := check(stderr); err != nil {
			fmt.Fprintln(stderr, err)
			fmt.Fprintln(stdout, "0 passed, 1 failed")
			return 1
		}
	}
	counts, err := test(stderr)
	if err != nil {
		fmt.Fprintln(stderr, err)
	}
	for _, s := range counts.skips {
		fmt.Fprintln(stdout, "skipped:", s)
	}
	fmt.Fprintf(stdout, "%d passed, %d failed, %d skipped\n", counts.passed, counts.failed, len(counts.skips))
	if err != nil || counts.failed > 0 || counts.passed == 0 {
		return 1
	}
	return 0
}

// browser installs Chromium where it is missing and this may be done. Without
// it the browser tests are skipped, with a printed reason.
func browser(stderr io.Writer) {
	if _, err := exec.LookPath("chromium"); err == nil {
		return
	}
	if _, err := exec.LookPath("apt-get"); err != nil || os.Geteuid() != 0 {
		fmt.Fprintln(stderr, "Chromium is not installed, so the browser tests will be skipped.")
		return
	}
	for _, args := range [][]string{{"update", "-qq"}, {"install", "-y", "-qq", "chromium", "fonts-liberation"}} {
		if out, err := exec.Command("apt-get", args...).CombinedOutput(); err != nil {
			fmt.Fprintf(stderr, "Chromium could not be installed: %v\n%s\n", err, out)
			return
		}
	}
}

func formatted(io.Writer) error {
	out, err := exec.Command("gofmt", "-l", "cmd", "internal", "flows", "api", "web").CombinedOutput()
	if err != nil {
		return fmt.Errorf("gofmt: %w\n%s", err, out)
	}
	if files := strings.TrimSpace(string(out)); files != "" {
		return fmt.Errorf("gofmt wants to change:\n%s", files)
	}
	return nil
}

func vetted(stderr io.Writer) error { return loud(stderr, "go", "vet", "./...") }

func analysed(stderr io.Writer) error { return loud(stderr, "go", "run", staticcheck, "./...") }

func loud(stderr io.Writer, name string, args ...string) error {
	fmt.Fprintln(stderr, "+", name, strings.Join(args, " "))
	c := exec.Command(name, args...)
	c.Stdout, c.Stderr = stderr, stderr
	if err := c.Run(); err != nil {
		return fmt.Errorf("%s %s: %w", name, strings.Join(args, " "), err)
	}
	return nil
}
