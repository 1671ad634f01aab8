package chart

import (
	"fmt"
	"slices"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"belay/internal/wording"
)

// course is a trial on the time line: hours under load before and after it.
type course struct {
	Trial
	from, to float64
	row      int
}

// timeline draws the session as its trials in order, along the hours under
// load, each in the row of its stage. Crashes cross all rows.
func timeline(d Data) Chart {
	c := Chart{
		Name: "timeline", Title: "Course of the session",
		Table: Table{Head: []string{"Trial", "Ended", "Stage", "Load", "Result", "Ran"}},
	}
	if len(d.Trials) == 0 {
		return empty(c, "No trial has run yet. Each trial becomes a bar here, and each crash a line.")
	}
	titles := map[string]string{}
	var order []string
	for _, s := range d.Stages {
		titles[s.ID] = wording.Plain(s.Title)
		if slices.ContainsFunc(d.Trials, func(t Trial) bool { return t.Stage == s.ID }) {
			order = append(order, s.ID)
		}
	}
	for _, t := range d.Trials {
		if !slices.Contains(order, t.Stage) {
			order, titles[t.Stage] = append(order, t.Stage), t.Stage
		}
	}
	var line []course
	hours, crashes, kinds := 0.0, 0, []string{}
	for _, t := range d.Trials {
		k := course{t, hours, hours + float64(t.Minutes)/60, len(order) - 1 - slices.Index(order, t.Stage)}
		hours = k.to
		line = append(line, k)
		if t.Outcome.Crash() {
			crashes++
		}
		if m := wording.Mark(t.Outcome); !slices.Contains(kinds, m) {
			kinds = append(kinds, m)
		}
		c.Table.Rows = append(c.Table.Rows, []string{
			strconv.Itoa(t.N), when(t), titles[t.Stage], wording.Load(t.Load), wording.Outcome(t.Outcome), wording.Ran(t.Trial),
		})
	}
	p := newPanel("Hours under load")
	p.HideY()
	p.X.Min, p.X.Max = 0, max(hours, 0.1)
	p.X.Tick.Marker = nice(decimalsFor(hours))
	p.Y.Min, p.Y.Max = 0, float64(len(order))
	p.Add(rows{line, order, titles})
	high := vg.Length(topRoom + 52 + 40*len(order))
	k := newCanvas(wide, high)
	all := draw.New(k)
	legend(all, "Stage", ordered(kinds))
	p.Draw(draw.Crop(all, 12, -14, 0, -topRoom))
	c.body, c.width, c.height = k.b.String(), wide, int(high)
	c.Says = fmt.Sprintf("%s in %s, %s under load. %s.", count(len(line), "trial"), count(len(order), "stage"), wording.Minutes(hours*60), crashWords(crashes))
	return c
}

func decimalsFor(hours float64) int {
	if hours < 5 {
		return 1
	}
	return 0
}

func when(t Trial) string {
	if t.At.IsZero() {
		return ""
	}
	return t.At.Format("2 Jan 2006, 15:04")
}

func count(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return strconv.Itoa(n) + " " + word + "s"
}

func crashWords(n int) string {
	switch n {
	case 0:
		return "The PC never went down"
	case 1:
		return "The PC went down once"
	}
	return fmt.Sprintf("The PC went down %d times", n)
}

// rows draws the trials in the rows of their stages.
type rows struct {
	line   []course
	order  []string
	titles map[string]string
}

// Plot draws the rows; it makes rows a plot.Plotter.
func (r rows) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	for _, k := range r.line {
		if k.Outcome.Crash() {
			dash := draw.LineStyle{Color: inkFailed, Width: 1.2, Dashes: []vg.Length{2, 3}}
			c.StrokeLine2(dash, x(k.to), c.Min.Y, x(k.to), c.Max.Y)
		}
	}
	for i, id := range r.order {
		base := float64(len(r.order) - 1 - i)
		c.StrokeLine2(draw.LineStyle{Color: inkGrid, Width: 0.8}, c.Min.X, y(base), c.Max.X, y(base))
		c.FillText(style(inkAxis, draw.XLeft, draw.YTop), vg.Point{X: c.Min.X + 2, Y: y(base+1) - 3}, r.titles[id])
	}
	for _, k := range r.line {
		at := y(float64(k.row) + 0.26)
		named(c, trialName(k.Trial), func() {
			c.StrokeLine2(draw.LineStyle{Color: inkAccent, Width: 4}, x(k.from)+1, at, x(k.to), at)
			drawMark(&c, wording.Mark(k.Outcome), vg.Point{X: x(k.to), Y: at})
		})
	}
}
