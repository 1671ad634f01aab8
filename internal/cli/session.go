package cli

import (
	"io"
	"os"
	"strings"
	"text/tabwriter"

	"belay/internal/assist"
	"belay/internal/event"
	"belay/internal/fault"
	"belay/internal/session"
)

// maxImport is how much of a session file is read, in bytes. Chosen: twice the
// largest file that is taken in, so that a larger one is refused by its size.
const maxImport = 16 << 20

const timeForm = "2006-01-02 15:04" // ISO 8601, without seconds

type sessionCommand struct {
	List   sessionList   `cmd:"" help:"List the sessions, the newest first."`
	Show   sessionShow   `cmd:"" help:"Show where a session is."`
	Verify sessionVerify `cmd:"" help:"Check that no saved entry was changed since."`
	Export sessionExport `cmd:"" help:"Write a session as one file that can be verified."`
	Import sessionImport `cmd:"" help:"Take in a session that was exported."`
}

type sessionList struct {
	dataFlag
	JSON bool `name:"json" help:"Print JSON."`
}

// Run lists the sessions.
func (s *sessionList) Run(c *call) error {
	return c.with(s.Data, func(d Desk) error {
		list, err := d.List(c.ctx)
		if err != nil {
			return err
		}
		if s.JSON {
			return c.json(list)
		}
		if len(list) == 0 {
			c.message("There are no sessions yet.")
			return nil
		}
		return c.table(list)
	})
}

func (c *call) table(list []assist.Summary) error {
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	line := func(cells ...string) {
		for i, cell := range cells {
			cells[i] = plain(cell)
		}
		_, _ = io.WriteString(w, strings.Join(cells, "\t")+"\n") // a Builder takes all
	}
	line("ID", "CHANGED", "STAGE", "PC", "TITLE", "NOW")
	for _, s := range list {
		line(s.ID, s.Updated.Local().Format(timeForm), s.Stage, pc(s.Practice), s.Title, s.Heading)
	}
	_ = w.Flush()
	return c.printf("%s", b.String())
}

type sessionShow struct {
	dataFlag
	ID   string `arg:"" help:"Session, as \"belay session list\" names it."`
	JSON bool   `name:"json" help:"Print JSON."`
}

// Run shows a session.
func (s *sessionShow) Run(c *call) error {
	return c.with(s.Data, func(d Desk) error {
		v, err := d.View(c.ctx, s.ID)
		if err != nil {
			return err
		}
		if s.JSON {
			return c.json(v)
		}
		return c.printf("%s", shown(v))
	})
}

// shown tells a session in lines.
func shown(v session.View) string {
	var b strings.Builder
	line := func(name, value string) { b.WriteString(name + ": " + plain(value) + "\n") }
	line("Session", v.ID)
	line("Title", v.Title)
	line("Guide", v.Flow)
	line("PC", pc(v.Practice))
	line("Started", v.Started.Local().Format(timeForm))
	line("Changed", v.Updated.Local().Format(timeForm))
	for _, st := range v.Stages {
		line("Stage", st.Title+", "+st.Status)
	}
	if v.Finished {
		line("Finished", "yes")
	} else {
		line("Finished", "no")
	}
	if p := v.Evidence.Proof.Sentence; p != "" {
		line("Proof", p)
	}
	return b.String()
}

func pc(p *event.Practice) string {
	if p != nil {
		return "simulated"
	}
	return "real"
}

type sessionVerify struct {
	dataFlag
	ID string `arg:"" optional:"" help:"Check only this session."`
}

// Run checks one session, or all data.
func (s *sessionVerify) Run(c *call) error {
	err := c.with(s.Data, func(d Desk) error {
		if s.ID != "" {
			events, err := d.Events(c.ctx, s.ID)
			if err != nil {
				return err
			}
			return c.printf("Session %s is sound: %s, none changed.\n", s.ID, count(len(events), "saved entry"))
		}
		r, err := d.Verify(c.ctx)
		if err != nil {
			return err
		}
		return c.verdict(r)
	})
	if fault.Is(err, fault.Corrupt) {
		report(c.messages, err)
		return errRefuted
	}
	return err
}

// verdict prints what a check of all data found.
func (c *call) verdict(r Report) error {
	if len(r.Damage) == 0 {
		return c.printf("All data is sound: %s with %s, %s.\n", count(r.Sessions, "session"),
			count(r.Events, "saved entry"), count(r.Flows, "guide"))
	}
	for _, d := range r.Damage {
		where := "Data"
		if d.Session != "" {
			where = "Session " + plain(d.Session)
		}
		if err := c.printf("%s: %s\n  %s\n", where, d.Fault.Msg, d.Fault.Next); err != nil {
			return err
		}
	}
	return errRefuted
}

type sessionExport struct {
	dataFlag
	ID     string `arg:"" help:"Session, as \"belay session list\" names it."`
	Output string `short:"o" placeholder:"FILE" help:"Write a new file instead of printing."`
}

// Run exports a session.
func (s *sessionExport) Run(c *call) error {
	return c.with(s.Data, func(d Desk) error {
		doc, err := d.ExportSession(c.ctx, s.ID)
		if err != nil {
			return err
		}
		return c.deliver(doc.Body, s.Output)
	})
}

type sessionImport struct {
	dataFlag
	File string `arg:"" help:"File that \"belay session export\" wrote."`
}

// Run imports a session and prints its id.
func (s *sessionImport) Run(c *call) error {
	body, err := readFile(s.File)
	if err != nil {
		return err
	}
	return c.with(s.Data, func(d Desk) error {
		id, err := d.Import(c.ctx, body)
		if err != nil {
			return err
		}
		return c.printf("%s\n", id)
	})
}

func readFile(path string) ([]byte, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	defer file.Close()
	body, err := io.ReadAll(io.LimitReader(file, maxImport))
	if err != nil {
		return nil, unreadable(path, err)
	}
	return body, nil
}

func unreadable(path string, err error) error {
	return fault.New(fault.NotFound, "This file cannot be read: "+path, "Check its name, and that you may read it.").Because(err)
}
