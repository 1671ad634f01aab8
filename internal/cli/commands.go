package cli

import (
	"os"

	"belay/internal/config"
)

// commands is the command line as kong reads it.
type commands struct {
	Serve    serveCommand    `cmd:"" default:"withargs" help:"Start Belay and open it in the browser. This is what \"belay\" alone does."`
	Token    tokenCommand    `cmd:"" help:"Print the token that programs send."`
	Flow     flowCommands    `cmd:"" help:"Work on guides."`
	Session  sessionCommand  `cmd:"" help:"Look at sessions, check them, and move them between PCs."`
	Calc     calcCommands    `cmd:"" help:"Calculate with one of the models."`
	Sheet    sheetCommand    `cmd:"" help:"Print the settings sheet of a session."`
	Backup   backupCommand   `cmd:"" help:"Copy all data into one file, checked."`
	Load     loadCommand     `cmd:"" help:"Run a load that checks every result."`
	Rig      rigCommand      `cmd:"" help:"Tell what this PC is and what its sensors say."`
	Simulate simulateCommand `cmd:"" help:"Let strategies compete on simulated PCs, and judge them by the truth."`
	Restore  restoreCommand  `cmd:"" help:"Take in what a backup has and the data here has not."`
	Version  versionCommand  `cmd:"" help:"Print the version."`
}

// dataFlag chooses the data folder.
type dataFlag struct {
	Data string `placeholder:"DIR" help:"Data folder. Without it, BELAY_DATA, or the usual place for your data."`
}

type serveCommand struct {
	dataFlag
	Addr    string `default:"127.0.0.1:8420" placeholder:"HOST:PORT" help:"Address to listen on. It must be this PC's own."`
	Lan     bool   `help:"Let phones in your network in, for 12 hours at most. The PC asks you for each one."`
	LanAddr string `placeholder:"HOST" help:"With --lan: this PC's own address in the network, if it has several."`
	NoOpen  bool   `help:"Do not open the browser."`
	Flows   string `placeholder:"DIR" type:"existingdir" help:"Offer the guides in this folder, not the built-in ones."`
}

// Run serves until the context ends.
func (s *serveCommand) Run(c *call) error {
	path, err := folder(s.Data)
	if err != nil {
		return err
	}
	o := ServeOptions{Addr: s.Addr, Folder: path, Flows: s.Flows, Browse: !s.NoOpen, LAN: s.Lan || s.LanAddr != "", LANHost: s.LanAddr}
	return c.ports.Serve(c.ctx, o, c.out, c.messages)
}

type tokenCommand struct{ dataFlag }

// Run prints the token.
func (t *tokenCommand) Run(c *call) error {
	path, err := folder(t.Data)
	if err != nil {
		return err
	}
	token, err := config.Token(path, os.Getenv)
	if err != nil {
		return err
	}
	return c.printf("%s\n", token)
}

type sheetCommand struct {
	dataFlag
	ID     string `arg:"" help:"Session, as \"belay session list\" names it."`
	Format string `required:"" enum:"html,pdf,md,json,csv" help:"One of ${enum}."`
	Output string `short:"o" placeholder:"FILE" help:"Write a new file instead of printing."`
}

// Run makes the settings sheet.
func (s *sheetCommand) Run(c *call) error {
	return c.with(s.Data, func(d Desk) error {
		doc, err := d.Sheet(c.ctx, s.ID, s.Format)
		if err != nil {
			return err
		}
		return c.deliver(doc.Body, s.Output)
	})
}

type backupCommand struct {
	dataFlag
	File string `arg:"" help:"New file to write."`
}

// Run writes a backup.
func (b *backupCommand) Run(c *call) error {
	return c.with(b.Data, func(d Desk) error {
		if err := d.Backup(c.ctx, b.File); err != nil {
			return err
		}
		c.message("The backup is written and checked: %s", b.File)
		return nil
	})
}

type versionCommand struct{}

// Run prints the version.
func (versionCommand) Run(c *call) error { return c.printf("belay %s\n", c.ports.Version) }
