package chart

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"belay/internal/session"
	"belay/internal/wording"
)

// span is a gain in percent with its interval.
type span struct {
	name           string
	low, mid, high float64
}

// gains draws the gain over both baselines with its interval.
func gains(d Data) Chart {
	c := Chart{
		Name: "gain", Title: "Gain over both baselines",
		Table: Table{Head: []string{"Against", "Gain", "95 % interval", "Verdict"}},
	}
	var spans []span
	add := func(name string, g *session.Gain) {
		if g == nil || !(g.Ratio95[0] > 0) || !(g.Ratio95[1] >= g.Ratio95[0]) {
			c.Table.Rows = append(c.Table.Rows, []string{name, "not enough evidence yet", "", ""})
			return
		}
		s := span{name, (g.Ratio95[0] - 1) * 100, (g.Ratio - 1) * 100, (g.Ratio95[1] - 1) * 100}
		spans = append(spans, s)
		c.Table.Rows = append(c.Table.Rows, []string{name, signed(s.mid), signed(s.low) + " to " + signed(s.high), g.Verdict})
	}
	g := d.Evidence.Gains
	if g == nil {
		g = &session.Gains{}
	}
	add("the PC as delivered", g.OverStock)
	add("the PC with the power cap lifted", g.OverUncapped)
	if len(spans) == 0 {
		return empty(c, "The gain is shown once scores are measured before and after. Three scores each make it sure.")
	}
	p := newPanel("Gain in score, %")
	p.HideY()
	p.X.Tick.Marker = nice(0)
	p.Y.Min, p.Y.Max = 0, float64(len(spans))
	for _, s := range spans {
		p.X.Min, p.X.Max = math.Min(p.X.Min, s.low), math.Max(p.X.Max, s.high)
	}
	p.X.Min, p.X.Max = math.Min(p.X.Min, 0)-1, math.Max(p.X.Max, 0)+1
	p.Add(gainRows(spans))
	high := vg.Length(60 + 58*len(spans))
	k := newCanvas(wide, high)
	p.Draw(draw.Crop(draw.New(k), 10, -14, 0, -4))
	c.body, c.width, c.height = k.b.String(), wide, int(high)
	var says []string
	for _, s := range spans {
		words := fmt.Sprintf("Against %s the score changed by about %s, with 95 %% confidence by %s to %s", s.name, signed(s.mid), signed(s.low), signed(s.high))
		if s.low <= 0 && s.high >= 0 {
			words += ", so no difference is measurable"
		}
		says = append(says, wording.Bound(words)+".")
	}
	c.Says = strings.Join(says, " ")
	return c
}

func signed(percent float64) string { return wording.Bound(fmt.Sprintf("%+.1f %%", percent)) }

// gainRows draws each gain on a row of its own under its name.
type gainRows []span

// Plot draws the rows; it makes gainRows a plot.Plotter.
func (g gainRows) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	zero := draw.LineStyle{Color: inkLimit, Width: 1.2, Dashes: []vg.Length{4, 3}}
	c.StrokeLine2(zero, x(0), c.Min.Y, x(0), c.Max.Y)
	for i, s := range g {
		row := float64(len(g) - i)
		at := y(row - 0.7)
		c.FillText(style(inkAxis, draw.XLeft, draw.YTop), vg.Point{X: c.Min.X + 2, Y: y(row) - 4}, "over "+s.name)
		named(c, fmt.Sprintf("Over %s: %s (%s to %s)", s.name, signed(s.mid), signed(s.low), signed(s.high)), func() {
			line := draw.LineStyle{Color: inkAccent, Width: 3}
			c.StrokeLine2(line, x(s.low), at, x(s.high), at)
			for _, end := range []float64{s.low, s.high} {
				c.StrokeLine2(line, x(end), at-5, x(end), at+5)
			}
			drawMark(&c, "done", vg.Point{X: x(s.mid), Y: at})
		})
	}
}
