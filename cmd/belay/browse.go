package main

import (
	"fmt"
	"io"
	"os/exec"
	"runtime"
)

// browse opens the address in the person's browser. A failure is only told:
// the address was printed.
func browse(address string, messages io.Writer) {
	line := browser(runtime.GOOS, address)
	command := exec.Command(line[0], line[1:]...)
	detach(command)
	go func() {
		if err := command.Run(); err != nil {
			fmt.Fprintln(messages, "The browser did not open. Open the address yourself.")
		}
	}()
}

// browser is the command that opens an address on the operating system goos.
func browser(goos, address string) []string {
	switch goos {
	case "windows":
		return []string{"rundll32", "url.dll,FileProtocolHandler", address}
	case "darwin":
		return []string{"open", address}
	}
	return []string{"xdg-open", address}
}
