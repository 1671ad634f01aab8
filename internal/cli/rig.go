package cli

import (
	"fmt"
	"strings"

	"belay/internal/rig"
	"belay/internal/units"
)

type rigCommand struct {
	Root string `placeholder:"DIR" help:"Read another PC's files, copied below this folder, not this PC."`
	JSON bool   `help:"Print JSON."`
}

// Run reads the PC and prints what it is.
func (r *rigCommand) Run(c *call) error {
	var m *rig.Machine
	var err error
	if r.Root != "" {
		m, err = rig.At(r.Root)
	} else {
		m, err = rig.Here()
	}
	if err != nil {
		return err
	}
	report := m.Read()
	if r.JSON {
		return c.json(report)
	}
	return c.printf("%s", rigText(report))
}

// rigText prints a report: each value with its source, then what is missing.
func rigText(r rig.Report) string {
	var b strings.Builder
	var missing []rig.Fact
	for _, part := range []struct {
		title string
		facts []rig.Fact
	}{
		{"Processor", r.Processor}, {"Memory", r.Memory}, {"Board", r.Board}, {"Power limits", r.Limits},
		{"Faults since the start", r.Faults}, {"System", r.System},
	} {
		heading := part.title + "\n"
		for _, f := range part.facts {
			if f.Value == nil {
				missing = append(missing, f)
				continue
			}
			fmt.Fprintf(&b, "%s  %-42s %s   [%s]\n", heading, f.Label, factText(f), plain(f.Source))
			heading = ""
		}
	}
	for i, m := range r.Modules {
		fmt.Fprintf(&b, "%s  %s: %g GB %s, rated %s, runs at %s, %s   [%s]\n", first(i, "Memory modules\n"), plain(m.Slot), m.SizeGB,
			strings.ToUpper(m.Standard), known("MT/s", float64(m.RatedMTS)), known("MT/s", float64(m.ConfiguredMTS)), known("V", m.ConfiguredVolt), m.Source)
	}
	for i, s := range oneClock(r.Sensors) {
		value, note := "not read", ""
		if s.Value != nil {
			value = units.Format(s.Unit, *s.Value)
		}
		if s.Use != "" {
			note = "used for " + s.Use
		}
		note = strings.TrimSpace(note + " " + s.Note)
		fmt.Fprintf(&b, "%s  %-30s %-12s %s   [%s]\n", first(i, "Sensors\n"), plain(s.Name), value, note, plain(s.Source))
	}
	for i, f := range missing {
		fmt.Fprintf(&b, "%s  %s: %s %s\n", first(i, "Not read\n"), f.Label, f.Missing, f.ByHand)
	}
	for _, v := range []struct {
		question string
		rig.Verdict
	}{{"Is a sustained power cap in force?", r.Cap}, {"Did the memory profile take effect?", r.Profile}} {
		fmt.Fprintf(&b, "%s %s. %s\n", v.question, sentenceCase(v.Answer), strings.TrimSpace(v.Because+" "+v.ByHand))
	}
	return b.String()
}

// oneClock keeps the first of the clocks, of which there is one for each
// thread.
func oneClock(all []rig.Channel) []rig.Channel {
	var out []rig.Channel
	clocks := 0
	at := 0
	for _, c := range all {
		if c.Unit == "MHz" {
			if clocks++; clocks > 1 {
				continue
			}
			at = len(out)
		}
		out = append(out, c)
	}
	if clocks > 1 {
		out[at].Name += fmt.Sprintf(" and %d more", clocks-1)
	}
	return out
}

func first(i int, heading string) string {
	if i == 0 {
		return heading
	}
	return ""
}

func sentenceCase(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// known prints a value, or says that it was not told.
func known(unit string, x float64) string {
	if x == 0 {
		return "unknown"
	}
	return units.Format(unit, x)
}

func factText(f rig.Fact) string {
	switch v := f.Value.(type) {
	case float64:
		return units.Format(f.Unit, v)
	case []string:
		return plain(strings.Join(v, ", "))
	}
	return plain(fmt.Sprint(f.Value))
}
