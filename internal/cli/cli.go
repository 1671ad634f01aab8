// Package cli is Belay's command line: it reads the arguments, calls one use
// case and prints what came of it. Results go to standard output, messages to
// standard error.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"

	"github.com/alecthomas/kong"

	"belay/internal/assist"
	"belay/internal/config"
	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/load"
	"belay/internal/session"
)

// Exit codes.
const (
	done    = 0
	failed  = 1
	misused = 2 // the command line is wrong
	refuted = 3 // the thing asked about does not hold
)

// Desk is an open data folder. Its methods return faults.
type Desk interface {
	List(ctx context.Context) ([]assist.Summary, error)
	View(ctx context.Context, id string) (session.View, error)
	Events(ctx context.Context, id string) ([]event.Envelope, error)
	ExportSession(ctx context.Context, id string) (assist.Document, error)
	Import(ctx context.Context, doc []byte) (string, error)
	Sheet(ctx context.Context, id, format string) (assist.Document, error)
	// Verify checks everything. Damage is in the report, not an error.
	Verify(ctx context.Context) (Report, error)
	Backup(ctx context.Context, file string) error
	// Restore takes in what a backup has and the folder has not.
	Restore(ctx context.Context, file string) (Restored, error)
	Close() error
}

// Report is what a check of all data found.
type Report struct {
	Sessions int
	Events   int // in sound sessions
	Flows    int // sound ones
	Damage   []Damage
}

// Damage is one thing that fails its check.
type Damage struct {
	Session string // "" when it is the file or a flow
	Fault   *fault.Error
}

// ServeOptions say how to serve.
type ServeOptions struct {
	Addr    string // host:port
	Folder  string // the data folder, which is there
	Flows   string // an existing folder of flows, or "" for the ones built in
	Browse  bool   // open the browser
	LAN     bool   // let phones in
	LANHost string // this PC's address for them, or "" to find it
}

// Ports are what the commands need from outside.
type Ports struct {
	Version string
	Open    func(folder string) (Desk, error) // opens the data folder, which is there
	// Serve serves until ctx ends, and writes the address to out.
	Serve func(ctx context.Context, o ServeOptions, out, messages io.Writer) error
	// StartLoad starts a load; nil is load.Start.
	StartLoad func(load.Spec, load.Options) (Load, error)
}

// call is one run of a command.
type call struct {
	ctx      context.Context
	ports    Ports
	out      io.Writer
	messages io.Writer
}

// errRefuted says that the thing asked about does not hold. What is wrong has
// been printed by then.
var errRefuted = errors.New("does not hold")

// Run carries out the command line args, without the program's name, and
// returns the exit code.
func Run(ctx context.Context, args []string, ports Ports, stdout, stderr io.Writer) int {
	helped := false
	var commands commands
	parser, err := kong.New(&commands,
		kong.Name("belay"),
		kong.Description("Belay guides you, step by step, through raising the settings of your PC's processor."),
		kong.Writers(stdout, stderr),
		simulateChoices(),
		kong.Exit(func(int) { helped = true }),
	)
	if err != nil {
		return report(stderr, err)
	}
	parsed, err := parser.Parse(args)
	if helped {
		return done
	}
	if err != nil {
		fmt.Fprintf(stderr, "%s\nType \"belay --help\" to see the commands.\n", sentence(err.Error()))
		return misused
	}
	return report(stderr, parsed.Run(&call{ctx: ctx, ports: ports, out: stdout, messages: stderr}))
}

// folder finds the data folder and makes it if it is missing.
func folder(chosen string) (string, error) {
	path, err := config.Folder(chosen, runtime.GOOS, os.Getenv)
	if err != nil {
		return "", err
	}
	return path, config.Make(path)
}

// with opens the data folder, does something with it and closes it.
func (c *call) with(chosen string, do func(Desk) error) (err error) {
	path, err := folder(chosen)
	if err != nil {
		return err
	}
	desk, err := c.ports.Open(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, desk.Close()) }()
	return do(desk)
}

// printf writes a result.
func (c *call) printf(format string, args ...any) error {
	return c.write(fmt.Appendf(nil, format, args...))
}

// write writes a result.
func (c *call) write(body []byte) error {
	if _, err := c.out.Write(body); err != nil {
		return fault.New(fault.Unavailable, "The result cannot be written.", "Check where the output goes, and that the disk is not full.").Because(err)
	}
	return nil
}
