package main

import (
	"fmt"
	"io"
	"os"
	"os/exec"
)

// tool is a program that some tests need, and the Debian packages that bring it.
// Without it those tests are skipped, each with a printed reason.
type tool struct {
	command  string
	packages []string
}

var tools = []tool{
	{"chromium", []string{"chromium", "fonts-liberation"}},       // browser tests
	{"x86_64-w64-mingw32-gcc", []string{"gcc-mingw-w64-x86-64"}}, // the Windows build
	{"pdftotext", []string{"poppler-utils"}},                     // reads the printed sheet back
	{"zbarimg", []string{"zbar-tools"}},                          // reads QR codes back
	{"fusermount3", []string{"fuse3"}},                           // the power-cut tests
}

// install brings what is missing, where this may be done: one tool at a time,
// so that one that cannot be had does not cost the others.
func install(stderr io.Writer) {
	checker(stderr)
	var missing []tool
	for _, t := range tools {
		if _, err := exec.LookPath(t.command); err != nil {
			missing = append(missing, t)
		}
	}
	if len(missing) == 0 {
		return
	}
	if _, err := exec.LookPath("apt-get"); err != nil || os.Geteuid() != 0 {
		for _, t := range missing {
			fmt.Fprintf(stderr, "%s is not installed, so the tests that need it will be skipped.\n", t.command)
		}
		return
	}
	apt(stderr, "update", "-qq")
	for _, t := range missing {
		apt(stderr, append([]string{"install", "-y", "-qq", "--no-install-recommends"}, t.packages...)...)
	}
}

func apt(stderr io.Writer, args ...string) {
	c := exec.Command("apt-get", args...)
	c.Env = append(os.Environ(), "DEBIAN_FRONTEND=noninteractive")
	if out, err := c.CombinedOutput(); err != nil {
		fmt.Fprintf(stderr, "apt-get %v: %v\n%s\n", args, err, out)
	}
}

// checker brings the accessibility checker of the browser tests, at the version
// and with the check sum of its lock file.
func checker(stderr io.Writer) {
	const folder = "cmd/dev/axe"
	if _, err := os.Stat(folder + "/node_modules/axe-core/axe.min.js"); err == nil {
		return
	}
	if out, err := exec.Command("npm", "ci", "--prefix", folder, "--silent").CombinedOutput(); err != nil {
		fmt.Fprintf(stderr, "The accessibility checker could not be installed, so its tests will be skipped: %v\n%s\n", err, out)
	}
}
