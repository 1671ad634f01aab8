package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
)

// launch builds Belay into the data folder, starts it over that folder until
// ctx ends, and returns the address that opens it.
func launch(ctx context.Context, data string, stderr io.Writer) (string, error) {
	program := filepath.Join(data, "program")
	if err := loud(stderr, nil, "go", "build", "-o", program, "./cmd/belay"); err != nil {
		return "", err
	}
	c := exec.CommandContext(ctx, program, "--addr", "127.0.0.1:0", "--no-open", "--data", data)
	c.Stderr = stderr
	c.Cancel = func() error { return c.Process.Signal(os.Interrupt) }
	out, err := c.StdoutPipe()
	if err != nil {
		return "", err
	}
	if err := c.Start(); err != nil {
		return "", err
	}
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if found := regexp.MustCompile(`http://\S+/open/\w+`).FindString(lines.Text()); found != "" {
			go func() {
				_, _ = io.Copy(io.Discard, out)
				_ = c.Wait()
			}()
			return found, nil
		}
	}
	return "", fmt.Errorf("the server did not start: %w", c.Wait())
}
