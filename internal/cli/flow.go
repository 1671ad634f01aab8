package cli

import (
	"errors"
	"os"
	"path/filepath"
	"strings"

	"belay/internal/fault"
	"belay/internal/flow"
)

type flowCommands struct {
	Check flowCheck `cmd:"" help:"Tell whether guides are sound, and where they are not."`
	Draw  flowDraw  `cmd:"" help:"Print a guide as a Mermaid state diagram."`
}

type flowCheck struct {
	Files []string `arg:"" name:"file" help:"Guides: NAME.yaml in a folder with its companions."`
}

// Run checks every file. A file that cannot be read outweighs a wrong guide.
func (f *flowCheck) Run(c *call) error {
	var unread []error
	sound := true
	for _, file := range f.Files {
		g, err := readFlow(file)
		var problems *flow.Problems
		switch {
		case errors.As(err, &problems):
			sound = false
			err = c.printf("%s: %s\n%s\n", file, count(len(*problems), "problem"), problems.Error())
		case err == nil:
			err = c.printf("%s: sound, with %s in %s\n", file, count(len(g.States), "step"), count(len(g.Stages), "stage"))
		}
		if err != nil {
			unread = append(unread, err)
		}
	}
	if len(unread) > 0 {
		return errors.Join(unread...)
	}
	if !sound {
		return errRefuted
	}
	return nil
}

type flowDraw struct {
	File string `arg:"" help:"Guide: NAME.yaml in a folder with its companions."`
}

// Run draws the flow.
func (f *flowDraw) Run(c *call) error {
	g, err := readFlow(f.File)
	if err != nil {
		return err
	}
	return c.printf("%s", g.Draw())
}

// load reads a flow from its file and the companions beside it.
func readFlow(file string) (*flow.Graph, error) {
	folder, base := filepath.Split(file)
	name, ok := strings.CutSuffix(base, ".yaml")
	if !ok {
		return nil, fault.Newf(fault.Invalid, "Name a file that ends in .yaml.", "This is not a guide: %s", file)
	}
	return flow.Load(os.DirFS(filepath.Clean(folder)), name)
}
