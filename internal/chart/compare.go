package chart

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"belay/internal/session"
	"belay/internal/trial"
	"belay/internal/wording"
)

// MostCompared is how many sessions stand side by side. Chosen: as many as
// lines that differ by their dashes alone.
const MostCompared = 4

// dashes tell the lines of the sessions apart, without colour.
var dashes = [MostCompared][]vg.Length{nil, {7, 3}, {2, 3}, {9, 3, 2, 3}}

// Session is a session as it stands in a comparison.
type Session struct {
	Name     string
	Evidence session.Evidence
}

// curve is the need of one session, by ratio.
type curve struct {
	band
	letter string
	dash   []vg.Length
	keep   *mark
}

// Compare draws the voltage need of several sessions into one picture, each
// with its letter and its own dashes. More than MostCompared are left out.
func Compare(sessions []Session) Chart {
	c := Chart{
		Name: "need", Title: "Voltage needed at each ratio, side by side",
		Table: Table{Head: []string{"Session", "Ratio", "Needed for the target", "5 % to 95 %"}},
	}
	var curves []curve
	var says []string
	for i, s := range sessions[:min(len(sessions), MostCompared)] {
		k := curve{letter: Letter(i), dash: dashes[i]}
		for _, n := range s.Evidence.Need {
			if n.Load != trial.Scalar || n.Target.Q50 == 0 {
				continue
			}
			k.x = append(k.x, float64(n.Ratio))
			k.low, k.mid, k.high = append(k.low, n.Target.Q05), append(k.mid, n.Target.Q50), append(k.high, n.Target.Q95)
			c.Table.Rows = append(c.Table.Rows, []string{
				k.letter + ": " + s.Name, fmt.Sprint(n.Ratio), wording.Measure("V", n.Target.Q50), wording.Bare("V", n.Target.Q05) + " to " + wording.Measure("V", n.Target.Q95),
			})
		}
		if len(k.x) == 0 {
			says = append(says, k.letter+" has no evidence of its need yet.")
			continue
		}
		if ratio, v, ok := (Data{Evidence: s.Evidence}).keepAt(); ok {
			k.keep = &mark{ratio, v, "keep", fmt.Sprintf("Keep of %s: ratio %s at about %s under load", k.letter, tenth(ratio), wording.Measure("V", v))}
		}
		last := len(k.x) - 1
		says = append(says, fmt.Sprintf("%s: ratio %s needs about %s, ratio %s about %s.", k.letter, tenth(k.x[0]), wording.Measure("V", k.mid[0]), tenth(k.x[last]), wording.Measure("V", k.mid[last])))
		curves = append(curves, k)
	}
	if len(curves) == 0 {
		return empty(c, "None of these sessions has shown yet which voltage a ratio needs.")
	}
	p := newPanel("Core ratio")
	p.X.Tick.Marker, p.Y.Tick.Marker = tickerOf(whole), nice(2)
	for _, k := range curves {
		p.X.Min, p.X.Max = math.Min(p.X.Min, k.x[0]-0.5), math.Max(p.X.Max, k.x[len(k.x)-1]+0.8)
		p.Y.Min = math.Min(p.Y.Min, math.Max(slices.Min(k.low), slices.Min(k.mid)-0.05)-0.01)
		p.Y.Max = math.Max(p.Y.Max, math.Min(slices.Max(k.high), slices.Max(k.mid)+0.05)+0.01)
	}
	p.Add(grid{})
	for _, k := range curves {
		p.Add(k)
	}
	const high = 330
	k := newCanvas(wide, high)
	all := draw.New(k)
	legend(all, "Load voltage, V", nil)
	p.Draw(draw.Crop(all, 0, -6, 0, -24))
	c.body, c.width, c.height = k.b.String(), wide, high
	c.Says = strings.Join(says, " ")
	return c
}

// Letter names the place of a session in a comparison.
func Letter(i int) string { return string(rune('A' + i)) }

// Plot draws band, line, keep and letter; it makes curve a plot.Plotter.
func (k curve) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	var outline, line []vg.Point
	for i := range k.x {
		outline = append(outline, vg.Point{X: x(k.x[i]), Y: y(k.high[i])})
		line = append(line, vg.Point{X: x(k.x[i]), Y: y(k.mid[i])})
	}
	for i := len(k.x) - 1; i >= 0; i-- {
		outline = append(outline, vg.Point{X: x(k.x[i]), Y: y(k.low[i])})
	}
	c.FillPolygon(inkBand, c.ClipPolygonXY(outline))
	c.StrokeLines(draw.LineStyle{Color: inkAxis, Width: 2, Dashes: k.dash}, c.ClipLinesXY(line)...)
	if k.keep != nil {
		marks{*k.keep}.Plot(c, p)
	}
	end := line[len(line)-1]
	c.FillText(style(inkAxis, draw.XLeft, draw.YCenter), vg.Point{X: end.X + 6, Y: end.Y}, k.letter)
}
