package store

import (
	"io"
	"os"
	"strconv"
	"strings"

	"belay/internal/fault"
)

// Notes are what Open found and did, in plain words, for the first page.
var (
	noWitness = fault.New(fault.Corrupt, "The second journal beside Belay's data was missing. It was written anew.",
		"You need not do anything. Nothing is lost.")
	spoiltEnd = fault.New(fault.Corrupt, "The newest line of the second journal cannot be read.",
		"If the PC stopped while it saved, this is the trace of that save. Else look whether your last answer is there.")
	restored = fault.New(fault.Corrupt, "Saved entries were missing from Belay's data file. They were restored from the second journal.",
		"Nothing is lost. If this comes back, the PC or its disk makes errors at these settings.")
	rebuilt = fault.New(fault.Corrupt, "Belay's data file was damaged. It was built anew from the second journal.",
		"Nothing is lost. If this comes back, the PC or its disk makes errors at these settings.")
	journalAnew = fault.New(fault.Corrupt, "The second journal beside Belay's data was damaged. It was written anew from the data file.",
		"Nothing is lost. If this comes back, the PC or its disk makes errors at these settings.")
	fromBackup = fault.New(fault.Corrupt, "Both of Belay's journals were damaged. What they lacked was taken from a backup.",
		"Look whether your last answers are there. Answers after the backup may be missing.")
	startedAnew = fault.New(fault.Corrupt, "Belay's data could not be read, and no backup was found. Belay started with empty data.",
		"Restore a backup if you have one elsewhere. The damaged files are kept.")
)

// Notes returns what Open found wrong with the data and did about it. It is
// empty when all was well.
func (l *Log) Notes() []*fault.Error { return l.notes }

// Earlier returns the notes of earlier repairs whose files are still kept,
// the oldest first. Who deletes the files has read them.
func (l *Log) Earlier() []*fault.Error { return l.earlier }

// reportSuffix names the file beside the damaged files that says what happened.
const reportSuffix = ".txt"

// readReports reads what earlier repairs have said.
func (l *Log) readReports() {
	for n := 1; n <= lastKept(l.path); n++ {
		k := keptFiles{path: l.path, number: n}
		text, err := os.ReadFile(k.name(reportSuffix))
		if err != nil {
			continue // it was deleted
		}
		for note := range strings.SplitSeq(strings.TrimSpace(string(text)), "\n\n") {
			msg, next, _ := strings.Cut(note, "\n")
			l.earlier = append(l.earlier, fault.New(fault.Corrupt, msg, next))
		}
	}
}

// report writes what a repair has to say beside the files that it kept.
func (k *keptFiles) report(notes []*fault.Error) error {
	_, err := makeWitness(k.name(reportSuffix), func(to io.Writer) error {
		for _, n := range notes {
			if _, err := io.WriteString(to, n.Msg+"\n"+n.Next+"\n\n"); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return unwritable(k.name(reportSuffix), err)
	}
	return nil
}

func (l *Log) note(f *fault.Error) { l.notes = append(l.notes, f) }

// tell notes what a repair did.
func (l *Log) tell(o opening, m merged, backups int, rebuild bool, kept *keptFiles) {
	switch {
	case o.log != nil && !rebuild:
		l.note(journalAnew)
	case len(m.sessions) == 0 && len(m.lost) == 0 && o.log == nil && len(o.witness.sessions) == 0:
		l.note(startedAnew)
	case backups > 0:
		l.note(fromBackup)
	case rebuild && o.log == nil:
		l.note(rebuilt.Because(o.logErr))
	case rebuild:
		l.note(restored)
	}
	for _, x := range m.lost {
		next := "The session goes on from the entry before it. "
		if x.version == 1 {
			next = "The session cannot be shown. "
		}
		next += "The " + strconv.Itoa(len(x.rest)) + " sound entries behind it are kept in a file."
		l.note(fault.Newf(fault.Corrupt, next, "Entry %d of the session %s is damaged in both journals and in no backup.",
			x.version, x.session))
	}
	if len(kept.names) > 0 {
		l.note(fault.New(fault.Corrupt, "The damaged files are kept: "+strings.Join(kept.names, ", ")+".",
			"You may delete them once all your answers are there."))
	}
}
