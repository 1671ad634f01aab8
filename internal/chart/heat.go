package chart

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg/draw"

	"belay/internal/trial"
	"belay/internal/wording"
)

func tickerOf(f func(lo, hi float64) []plot.Tick) plot.TickerFunc { return f }

// heat draws the hottest core and the package power against the load voltage,
// with their limits.
func heat(d Data) Chart {
	c := Chart{
		Name: "heat", Title: "Temperature and power against voltage",
		Table: Table{Head: []string{"Trial", "Load", "Load voltage", "Hottest core", "Package power"}},
	}
	var temps, powers marks
	var kinds []string
	for _, t := range d.Trials {
		r := t.Readings
		if r.LoadVoltage == 0 || r.CoreTemp == 0 && r.PackagePower == 0 || t.Load == trial.Bursty {
			continue
		}
		v, kind := float64(r.LoadVoltage), wording.Mark(t.Outcome)
		row := []string{strconv.Itoa(t.N), wording.Load(t.Load), wording.Measure("V", v), "not read", "not read"}
		if r.CoreTemp > 0 {
			row[3] = wording.Measure("°C", float64(r.CoreTemp))
			temps = append(temps, mark{v, float64(r.CoreTemp), kind, trialName(t) + ", " + row[3]})
		}
		if r.PackagePower > 0 {
			row[4] = wording.Measure("W", float64(r.PackagePower))
			powers = append(powers, mark{v, float64(r.PackagePower), kind, trialName(t) + ", " + row[4]})
		}
		if !slices.Contains(kinds, kind) {
			kinds = append(kinds, kind)
		}
		c.Table.Rows = append(c.Table.Rows, row)
	}
	if len(temps) == 0 && len(powers) == 0 {
		return empty(c, "No trial has both a load voltage and a temperature or power yet.")
	}
	const high, half = 440, 215
	k := newCanvas(wide, high)
	all := draw.New(k)
	upper, lower := heatPanel(temps, float64(d.TempLimit), "°C"), heatPanel(powers, float64(d.PowerLim), "W")
	lo, hi := math.Min(upper.X.Min, lower.X.Min), math.Max(upper.X.Max, lower.X.Max)
	for _, p := range []*plot.Plot{upper, lower} {
		p.X.Min, p.X.Max = lo-0.01, hi+0.01
	}
	lower.X.Label.Text = "Load voltage, V"
	legend(all, "Hottest core, °C", ordered(kinds))
	upper.Draw(draw.Crop(all, 0, -6, half, -topRoom))
	under := draw.Crop(all, 0, -6, 0, half-high+4)
	legend(under, "Package power, W", nil)
	lower.Draw(draw.Crop(under, 0, 0, 0, -22))
	c.body, c.width, c.height = k.b.String(), wide, high
	c.Says = heatSays(d, temps, powers)
	return c
}

func heatPanel(m marks, limit float64, unit string) *plot.Plot {
	p := newPanel("")
	p.X.Tick.Marker, p.Y.Tick.Marker = nice(2), nice(0)
	p.Add(grid{})
	if len(m) > 0 {
		p.Add(m)
		room := math.Max(2, (p.Y.Max-p.Y.Min)*0.08)
		p.Y.Min, p.Y.Max = p.Y.Min-room, p.Y.Max+room
	} else {
		p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = math.Inf(1), math.Inf(-1), 0, math.Max(limit, 1)
	}
	if limit > 0 {
		if limit < p.Y.Min+2.2*(p.Y.Max-p.Y.Min) {
			p.Y.Max = math.Max(p.Y.Max, limit+0.16*(limit-p.Y.Min))
		}
		p.Add(level{limit, "limit " + wording.Measure(unit, limit)})
	}
	return p
}

func heatSays(d Data, temps, powers marks) string {
	says := ""
	add := func(what, unit string, m marks, limit float64) {
		if len(m) == 0 {
			return
		}
		x0, x1, lo, hi := m.DataRange()
		says += fmt.Sprintf("Between %s and %s under load the %s was %s to %s", wording.Bare("V", x0), wording.Measure("V", x1), what, wording.Bare(unit, lo), wording.Measure(unit, hi))
		if limit > 0 {
			says += "; the limit is " + wording.Measure(unit, limit)
		}
		says += ". "
	}
	add("hottest core", "°C", temps, float64(d.TempLimit))
	add("package power", "W", powers, float64(d.PowerLim))
	return says[:len(says)-1]
}
