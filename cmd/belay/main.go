// Command belay is a guide through raising the settings of a PC's processor.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"belay/internal/load"
)

func main() {
	if load.IsChild(os.Args) {
		os.Exit(load.Child(os.Stdin, os.Stdout))
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second Ctrl+C ends the program at once
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}
