package sheet

import (
	"fmt"
	"slices"
	"strings"

	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/units"
)

// hotterRoom is how much hotter the room may get before the settings are
// checked again, °C. Chosen: about the step from a mild to a hot day, and the
// cores get hotter by at least as much.
const hotterRoom units.Celsius = 8

// line is one row of the sheet.
type line struct {
	Name, Label, Value, Unit, Bare, Also, Stock, Evidence string
	Text                                                  bool // Bare is text that somebody typed
	Enter                                                 bool // false: leave it as delivered
}

// lines returns a row for every setting, in the order in which one enters them.
func (d Data) lines() []line {
	proofs := map[group]proof{}
	for _, g := range groups {
		proofs[g] = proofOf(g, d.Settings, d.Trials)
	}
	out := make([]line, 0, len(entries))
	for _, e := range entries {
		l := line{
			Name: e.name, Label: e.title(d.Settings), Unit: e.unit, Also: e.others(d.Settings),
			Stock: e.stock(d.Stock), Text: e.text != nil, Enter: e.set(d.Settings),
		}
		if l.Enter {
			l.Value, l.Bare, l.Evidence = e.print(d.Settings), e.bare(d.Settings), proofs[e.group].Text
		}
		out = append(out, l)
	}
	return out
}

// block is a run of rows with the same evidence.
type block struct {
	Evidence string
	Rows     []line
}

// blocks returns the rows to enter, by group.
func (d Data) blocks() []block {
	lines := d.lines()
	var out []block
	for _, g := range groups {
		var b block
		for i, e := range entries {
			if e.group == g && lines[i].Enter {
				b.Rows = append(b.Rows, lines[i])
				b.Evidence = lines[i].Evidence
			}
		}
		if len(b.Rows) > 0 {
			out = append(out, b)
		}
	}
	return out
}

// left names the settings that stay as delivered.
func (d Data) left() string {
	var names []string
	for _, l := range d.lines() {
		if !l.Enter {
			names = append(names, l.Label)
		}
	}
	return strings.Join(names, ", ")
}

// fact is a name with its value.
type fact struct{ Name, Value string }

// conditions tells under which the settings were proven.
func (d Data) conditions() []fact {
	air := "not known"
	if d.AirTemp != 0 {
		air = d.AirTemp.String()
	}
	f := []fact{
		{"Date", d.Made.Format("2 January 2006")},
		{"Firmware version", or(d.firmware(), "not known")},
		{"Room temperature", air},
		{"Cooler", or(d.Machine.Cooler, "not known")},
	}
	if h := d.Evidence.Heat; h != nil && h.HottestC > 0 {
		f = append(f, fact{"Hottest core in any trial", units.Format("°C", h.HottestC)})
	}
	if h := d.Evidence.Heat; h != nil && h.MostPowerW > 0 {
		f = append(f, fact{"Most package power", units.Format("W", h.MostPowerW)})
	}
	return f
}

func or(text, empty string) string {
	if strings.TrimSpace(text) == "" {
		return empty
	}
	return text
}

// gains compares the score with both baselines.
func (d Data) gains() []fact {
	g := d.measured()
	return []fact{
		{"Against the PC as delivered", gainText(g.OverStock)},
		{"Against stock with the sustained power limit lifted", gainText(g.OverUncapped)},
	}
}

// measured returns the gains that have an interval.
func (d Data) measured() session.Gains {
	var out session.Gains
	if g := d.Evidence.Gains; g != nil {
		out.OverStock, out.OverUncapped = withInterval(g.OverStock), withInterval(g.OverUncapped)
	}
	return out
}

func withInterval(g *session.Gain) *session.Gain {
	if g == nil || !(g.Ratio > 0) || !(g.Ratio95[0] > 0) || !(g.Ratio95[1] >= g.Ratio95[0]) {
		return nil
	}
	return g
}

func gainText(g *session.Gain) string {
	if g == nil {
		return "not measured"
	}
	percent := func(ratio float64) string { return fmt.Sprintf("%+.1f", (ratio-1)*100) }
	text := fmt.Sprintf("%s\u00a0%% (95\u00a0%% interval %s to %s\u00a0%%)", percent(g.Ratio), percent(g.Ratio95[0]), percent(g.Ratio95[1]))
	if g.Ratio95[0] <= 1 && g.Ratio95[1] >= 1 {
		text += ", no measurable difference"
	}
	return text
}

// proven says in one sentence what the evidence proves.
func (d Data) proven() string {
	return or(d.Evidence.Proof.Sentence, "Nothing is proven yet: no trial has ended clean long enough.")
}

// notProven says in one sentence what the evidence leaves open.
func (d Data) notProven() string {
	open := []string{"rarer failures", "loads that no trial ran"}
	if d.AirTemp != 0 {
		open = append(open, "a room hotter than "+d.AirTemp.String())
	} else {
		open = append(open, "a hotter room")
	}
	for _, b := range d.blocks() {
		if strings.HasPrefix(b.Evidence, unproven) {
			open = append(open, "the "+string(groupOf(b.Rows[0].Name)))
		}
	}
	return "Not proven: " + strings.Join(open[:len(open)-1], ", ") + " and " + open[len(open)-1] + "."
}

// otherThanKeep tells where the sheet departs from the settings that the
// proof's sentence speaks of, "" if it does not.
func (d Data) otherThanKeep() string {
	k := d.Evidence.Keep
	if k == nil || d.Evidence.Proof.Sentence == "" {
		return ""
	}
	diff := trial.Diff(k.Settings, d.Settings)
	var names []string
	for _, e := range entries {
		if slices.Contains(diff, e.name) && (e.group == core || e.group == vector) {
			names = append(names, strings.ToLower(e.label[:1])+e.label[1:])
		}
	}
	if len(names) == 0 {
		return ""
	}
	return "That proof was gained with other values of: " + strings.Join(names, ", ") + "."
}

func groupOf(name string) group {
	i := slices.IndexFunc(entries, func(e entry) bool { return e.name == name })
	return entries[i].group
}

// recheck is one reason to check the settings again, and what to do first.
type recheck struct {
	When  string   `json:"when"`
	First []string `json:"first"`
}

// reEnter lists the steps after a firmware reset.
func (d Data) reEnter() []string {
	version := "If the firmware version has changed, do the checks for new firmware too."
	if v := d.firmware(); strings.TrimSpace(v) != "" {
		version = "If the firmware version is not " + v + ", do the checks for new firmware too."
	}
	return []string{
		"Load the firmware defaults. Set boot order and disk mode as they were.",
		"Enter the values from top to bottom. Choose the memory profile first: it may change other values.",
		"Read every value back against this sheet, then save.",
		version,
		"Run the all-core load and the memory check for 30 min each before daily use.",
	}
}

// backToStock lists the steps to the PC as delivered.
func backToStock() []string {
	return []string{
		"Load the firmware defaults in the firmware setup, then save.",
		"Set boot order and disk mode as they were.",
		"If the PC does not start: switch it off, unplug it and wait.",
		"Then clear the firmware settings as the board's manual shows.",
	}
}

// rechecks lists when the settings may have gone stale. The spans are common
// practice, no source.
func (d Data) rechecks() []recheck {
	room := fmt.Sprintf("Room more than %v hotter", hotterRoom)
	if d.AirTemp != 0 {
		room += fmt.Sprintf(" (over %v)", d.AirTemp+hotterRoom)
	}
	return []recheck{
		{"New firmware", []string{"Read every value back.", "Then run the memory check and the all-core load, 30 min each."}},
		{room, []string{"Run the all-core load for 30 min and watch the hottest core."}},
		{"New cooler, new paste, or dust", []string{"Clean it.", "Then run the all-core load for 30 min and watch the hottest core."}},
		{"Unexplained reset, freeze or wrong result", []string{"Save your work and go back to stock.", "If it happens there too, look elsewhere.", "Otherwise run bursts and idle first, then the memory check."}},
		{"Every three months", []string{"Run the all-core load and the memory check for 30 min each."}},
	}
}
