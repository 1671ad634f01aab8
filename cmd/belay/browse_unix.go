//go:build !windows

package main

import (
	"os/exec"
	"syscall"
)

// detach keeps Ctrl+C, which is meant for Belay, from the browser.
func detach(command *exec.Cmd) { command.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }
