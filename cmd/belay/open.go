package main

import (
	"context"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/oklog/ulid/v2"

	"belay/flows"
	"belay/internal/assist"
	"belay/internal/bootlog"
	"belay/internal/cli"
	"belay/internal/config"
	"belay/internal/fault"
	"belay/internal/store"
	"belay/internal/virtualrig"
)

// version is set when a release is built.
var version = "dev"

// run carries out one command line and returns the exit code.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	return cli.Run(ctx, args, cli.Ports{Version: version, Open: openDesk, Serve: serve}, stdout, stderr)
}

// desk is an open data folder for the command line.
type desk struct {
	*assist.Assist
	log *store.Log
}

func openDesk(folder string) (cli.Desk, error) {
	log, err := store.Open(config.Database(folder))
	if err != nil {
		return nil, err
	}
	return desk{useCases(log, folder, flows.FS, func(string, int64) {}), log}, nil
}

// Close ends the use of the folder.
func (d desk) Close() error { return d.log.Close() }

// Backup copies the log into a new file.
func (d desk) Backup(ctx context.Context, file string) error { return d.log.Backup(ctx, file) }

// Restore takes in what a backup has and the log has not.
func (d desk) Restore(ctx context.Context, file string) (cli.Restored, error) {
	r, err := d.log.Restore(ctx, file)
	return cli.Restored(r), err
}

// Verify checks the whole log.
func (d desk) Verify(ctx context.Context) (cli.Report, error) {
	found, err := d.log.Verify(ctx)
	if len(found.Damage) > 0 && fault.Is(err, fault.Corrupt) {
		err = nil // it repeats the first damage
	}
	r := cli.Report{Sessions: found.Sessions, Events: found.Events, Flows: found.Flows}
	for _, x := range found.Damage {
		r.Damage = append(r.Damage, cli.Damage{Session: x.Session, Fault: x.Fault})
	}
	// What a repair at a start found counts too, until its report is deleted.
	for _, note := range known(d.log) {
		r.Damage = append(r.Damage, cli.Damage{Fault: note})
	}
	return r, err
}

// useCases puts the use cases over the log in a data folder.
func useCases(log *store.Log, folder string, offer fs.FS, notify func(string, int64)) *assist.Assist {
	return assist.New(assist.Config{
		Log: log, Offer: offer, Rig: practiceRig, Export: store.Export, Notify: notify,
		Now: time.Now, NewID: func() string { return strings.ToLower(ulid.Make().String()) }, BootID: bootlog.Now().ID,
		Secure: log.Secure, Known: func() []*fault.Error { return known(log) },
		Detect: thisPC, Columns: columnsOf(folder), Held: heldIn(folder),
	})
}

// known is what a person should know of the data: what was repaired when it
// was opened, and how it is now.
func known(log *store.Log) []*fault.Error {
	notes := slices.Concat(log.Earlier(), log.Notes())
	if w := log.Warning(); w != nil {
		notes = append(notes, w)
	}
	return notes
}

func practiceRig(seed uint64, variant string) (assist.PracticeRig, error) {
	rig, err := virtualrig.New(seed, virtualrig.Variant(variant))
	if err != nil {
		return nil, err
	}
	return rig, nil
}

// offered returns the flows to offer: those in folder, or the built-in ones.
func offered(folder string) fs.FS {
	if folder == "" {
		return flows.FS
	}
	return os.DirFS(folder)
}
