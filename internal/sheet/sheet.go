// Package sheet makes the settings sheet: one page from which every setting
// can be entered again after a firmware reset, with the evidence behind it.
//
// It is pure: the same Data gives the same bytes. The sheet names settings by
// the trade's usual words, never by one board's menus.
package sheet

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"belay/internal/fault"
	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/units"
)

// Data is all that a sheet tells.
type Data struct {
	Title     string
	SessionID string
	Practice  bool          // made on a simulated PC
	Made      time.Time     // when the sheet was made
	Firmware  string        // firmware version of the trials; "" takes the one of Machine
	AirTemp   units.Celsius // room air during the trials, °C; 0 is not known
	Machine   trial.Machine
	Settings  trial.Settings // to enter; zero is as delivered
	Stock     trial.Settings // as delivered; zero is automatic
	Evidence  session.Evidence
	Cautions  []session.Caution
	Trials    []trial.Trial // all trials that count, in order
	Note      string
	Finished  bool // false: the session was still running
}

// PracticeBanner is printed on every sheet that no real PC stands behind.
const PracticeBanner = "Made on a simulated PC: do not enter these"

// draftBanner is printed on a sheet of a session that is still running.
const draftBanner = "Draft: the session was not finished when this sheet was made"

// banners returns what must be seen before any value is.
func (d Data) banners() []string {
	var b []string
	if d.Practice {
		b = append(b, PracticeBanner)
	}
	if !d.Finished {
		b = append(b, draftBanner)
	}
	return b
}

func (d Data) firmware() string { return cmp.Or(d.Firmware, d.Machine.Firmware) }

// check refuses numbers that cannot be printed or entered.
func (d Data) check() error {
	for _, s := range []trial.Settings{d.Settings, d.Stock} {
		for _, e := range entries {
			if v := e.number(s); math.IsNaN(v) || math.IsInf(v, 0) {
				return fault.Newf(fault.Invalid, "Correct this value in the session, then make the sheet again.",
					"the value of %s is not a number", e.name)
			}
		}
	}
	return nil
}

// severity orders signal words, gravest first (ISO 3864-2).
var severity = []string{"DANGER", "WARNING", "CAUTION", "NOTICE"}

// cautions returns the cautions without doubles, gravest first.
func (d Data) cautions() []session.Caution {
	out := make([]session.Caution, 0, len(d.Cautions))
	for _, c := range d.Cautions {
		if !slices.ContainsFunc(out, func(o session.Caution) bool { return o.ID == c.ID }) {
			out = append(out, c)
		}
	}
	slices.SortStableFunc(out, func(a, b session.Caution) int {
		return cmp.Compare(rank(a.Signal), rank(b.Signal))
	})
	return out
}

func rank(signal string) int {
	if i := slices.Index(severity, strings.ToUpper(signal)); i >= 0 {
		return i
	}
	return len(severity)
}
