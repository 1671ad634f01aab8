// Command dev runs the tasks of contributors: "go run ./cmd/dev test" formats,
// vets, analyses, builds for both systems and tests the whole module, and
// prints a closing count; "go run ./cmd/dev storybook FOLDER" takes a picture of
// every page; "go run ./cmd/dev bench" measures the program against floors.
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
	switch {
	case len(args) == 1 && args[0] == "test":
		return testAll(stdout, stderr)
	case len(args) == 2 && args[0] == "storybook":
		return told(stderr, storybook(args[1], stderr))
	case len(args) == 1 && args[0] == "bench":
		return told(stderr, bench(stdout, stderr))
	}
	fmt.Fprintln(stderr, "usage: go run ./cmd/dev test\n       go run ./cmd/dev storybook FOLDER\n       go run ./cmd/dev bench")
	return 2
}

// told prints what went wrong, if anything did, and returns the exit code.
func told(stderr io.Writer, err error) int {
	if err == nil {
		return 0
	}
	fmt.Fprintln(stderr, err)
	return 1
}

// testAll checks and tests everything and prints the closing count.
func testAll(stdout, stderr io.Writer) int {
	install(stderr)
	for _, check := range []func(io.Writer) error{formatted, vetted, analysed, windows} {
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
	for _, s := range counts.unsteady {
		fmt.Fprintln(stdout, "failed once, passed when run alone:", s)
	}
	for _, s := range counts.failures {
		fmt.Fprintln(stdout, "failed:", s)
	}
	fmt.Fprintf(stdout, "%d passed, %d failed, %d skipped\n", counts.passed, len(counts.failures), len(counts.skips))
	if err != nil || len(counts.failures) > 0 || counts.passed == 0 {
		return 1
	}
	return 0
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

func vetted(stderr io.Writer) error { return loud(stderr, nil, "go", "vet", "./...") }

func analysed(stderr io.Writer) error {
	return loud(stderr, nil, "go", "run", staticcheck, "./...")
}

// windows builds the program for Windows, where the cross compiler is there.
func windows(stderr io.Writer) error {
	const cc = "x86_64-w64-mingw32-gcc"
	if _, err := exec.LookPath(cc); err != nil {
		fmt.Fprintln(stderr, cc, "is not installed, so the Windows build is not tried.")
		return nil
	}
	env := []string{"CGO_ENABLED=1", "GOOS=windows", "GOARCH=amd64", "CC=" + cc}
	return loud(stderr, env, "go", "build", "-o", os.DevNull, "./cmd/belay")
}

func loud(stderr io.Writer, env []string, name string, args ...string) error {
	fmt.Fprintln(stderr, "+", strings.Join(append(append(env[:len(env):len(env)], name), args...), " "))
	c := exec.Command(name, args...)
	c.Env = append(os.Environ(), env...)
	c.Stdout, c.Stderr = stderr, stderr
	if err := c.Run(); err != nil {
		return fmt.Errorf("%s %s: %w", name, strings.Join(args, " "), err)
	}
	return nil
}
