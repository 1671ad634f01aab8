package cli

import "strings"

// Restored is what came of the sessions in a backup.
type Restored struct {
	Added    []string // were not there
	Extended []string // were there up to an earlier entry
	Kept     []string // are there as they are in the backup, or further
	Differ   []string // went another way here, and were left as they are
}

type restoreCommand struct {
	dataFlag
	File string `arg:"" help:"Backup, as \"belay backup\" wrote it."`
}

// Run takes in what a backup has and the data folder has not.
func (r *restoreCommand) Run(c *call) error {
	return c.with(r.Data, func(d Desk) error {
		done, err := d.Restore(c.ctx, r.File)
		if err != nil {
			return err
		}
		for _, x := range []struct {
			sessions []string
			said     string
		}{
			{done.Added, "Restored"}, {done.Extended, "Brought up to date"}, {done.Kept, "Already here"},
			{done.Differ, "Went another way here, and left as it is"},
		} {
			if len(x.sessions) > 0 {
				c.message("%s: %s", x.said, strings.Join(x.sessions, ", "))
			}
		}
		return nil
	})
}
