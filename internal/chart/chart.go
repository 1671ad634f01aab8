// Package chart draws the few charts of a session: the voltage that each
// ratio needs, heat, gain and the course of the session. Each comes as SVG
// that follows the reader's theme, with a sentence that says the same, and
// with its numbers in a table.
//
// It is pure: the same Data gives the same bytes.
package chart

import (
	"fmt"
	"html"
	"strings"
	"time"

	"belay/internal/fault"
	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/units"
	"belay/web"
)

// Names lists the charts in the order in which a page shows them.
var Names = []string{"need", "heat", "gain", "timeline"}

// Data is what the charts are drawn from.
type Data struct {
	Trials    []Trial
	Stages    []session.StageView
	Evidence  session.Evidence
	Ceiling   units.Volt    // load voltage under heavy load that is never passed
	TempLimit units.Celsius // hottest core at which a trial is stopped
	PowerLim  units.Watt    // package power that no proposal passes
	Stock     units.Ratio   // all-core ratio as delivered, 0 if not known
}

// Trial is a trial with the time at which it ended.
type Trial struct {
	trial.Trial
	At time.Time
}

// Chart is one chart, ready to show.
type Chart struct {
	Name  string
	Title string
	Says  string // the same in words; what a reader without the picture gets
	Table Table
	Empty bool // nothing to draw yet; Says tells what is missing

	body          string
	width, height int
}

// Table holds the numbers of a chart.
type Table struct {
	Head []string
	Rows [][]string
}

// All returns every chart.
func All(d Data) []Chart {
	out := make([]Chart, 0, len(Names))
	for _, name := range Names {
		out = append(out, drawers[name](d))
	}
	return out
}

// Named returns one chart, or a NotFound fault.
func Named(name string, d Data) (Chart, error) {
	draw, ok := drawers[name]
	if !ok {
		return Chart{}, fault.Newf(fault.NotFound, "Use one of "+strings.Join(Names, ", ")+".", "There is no chart named %q.", name)
	}
	return draw(d), nil
}

var drawers = map[string]func(Data) Chart{"need": need, "heat": heat, "gain": gains, "timeline": timeline}

// Inline returns the chart for a page that brings the chart style itself.
func (c Chart) Inline() string { return c.svg("") }

// SVG returns the chart as a file of its own, with its style.
func (c Chart) SVG() []byte { return []byte(c.svg("<style>" + Style() + "</style>")) }

func (c Chart) svg(style string) string {
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" class="chart" viewBox="0 0 %d %d" width="%d" height="%d" role="img" aria-labelledby="%s-t %s-d"><title id="%s-t">%s</title><desc id="%s-d">%s</desc>%s%s</svg>`,
		c.width, c.height, c.width, c.height, c.Name, c.Name, c.Name, html.EscapeString(c.Title), c.Name, html.EscapeString(c.Says), style, c.body)
}

// Style returns the style of a chart that stands alone: the tones of both
// themes and of paper, and the classes. It holds no < and no &.
func Style() string { return web.Join("shared/tones.css", "chart/chart.css") }
