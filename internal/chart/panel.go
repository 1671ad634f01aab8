package chart

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Sizes in points, one to one the units of the SVG. Chosen: readable at the
// width of a phone, 360 pixels, without turning it.
const (
	wide    = 400
	size    = 13.5
	radius  = 4.6
	topRoom = 40 // for the name of the vertical axis and the legend
)

// face is the type that lengths of text are measured in. The reader's own
// sans-serif is drawn.
var face = font.Font{Typeface: "Liberation", Variant: "Sans"}

func style(i ink, x text.XAlignment, y text.YAlignment) text.Style {
	return text.Style{Color: i, Font: font.From(face, size), XAlign: x, YAlign: y, Handler: plot.DefaultTextHandler}
}

// newPanel returns an empty plot in the style of the charts.
func newPanel(across string) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	p.X.Label.Text = across
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font = font.From(face, size)
		a.Label.TextStyle.Color = inkAxis
		a.Label.Padding = 3
		a.LineStyle = draw.LineStyle{Color: inkAxis, Width: 1}
		a.Tick.LineStyle = draw.LineStyle{Color: inkAxis, Width: 0.8}
		a.Tick.Label.Font = font.From(face, size)
		a.Tick.Label.Color = inkAxis
		a.Tick.Length = 4
		a.Padding = 2
	}
	return p
}

// legend draws the name of the vertical axis and below it the marks with
// their words, at the top of c.
func legend(c draw.Canvas, axis string, marks []string) {
	pt := vg.Point{X: c.Min.X, Y: c.Max.Y - 2}
	c.FillText(style(inkAxis, draw.XLeft, draw.YTop), pt, axis)
	at := vg.Point{X: c.Min.X + radius + 1, Y: c.Max.Y - 27}
	st := style(inkAxis, draw.XLeft, draw.YCenter)
	for _, m := range marks {
		drawMark(&c, m, at)
		at.X += radius + 5
		c.FillText(st, at, markWords[m])
		at.X += st.Width(markWords[m]) + 18
	}
}

var markWords = map[string]string{"done": "clean", "failed": "failed", "hot": "hot", "skipped": "stopped", "keep": "keep"}

// drawMark draws the shape of an outcome. Each differs from the others
// without colour.
func drawMark(c *draw.Canvas, mark string, at vg.Point) {
	ring := func(i ink, r vg.Length, fill bool) {
		var p vg.Path
		p.Move(vg.Point{X: at.X + r, Y: at.Y})
		p.Arc(at, r, 0, 2*math.Pi)
		p.Close()
		paint(c, p, i, fill)
	}
	corners := func(pts ...vg.Point) vg.Path {
		var p vg.Path
		for n, d := range pts {
			to := vg.Point{X: at.X + d.X, Y: at.Y + d.Y}
			if n == 0 {
				p.Move(to)
			} else {
				p.Line(to)
			}
		}
		return p
	}
	const r = radius
	switch mark {
	case "done":
		ring(inkClean, r, true)
	case "keep":
		ring(inkAxis, r+3.5, false)
	case "failed":
		p := corners(vg.Point{X: -r, Y: -r}, vg.Point{X: r, Y: -r}, vg.Point{X: r, Y: r}, vg.Point{X: -r, Y: r})
		p.Close()
		paint(c, p, inkPaper, true)
		paint(c, p, inkFailed, false)
		paint(c, corners(vg.Point{X: -r, Y: -r}, vg.Point{X: r, Y: r}), inkFailed, false)
		paint(c, corners(vg.Point{X: -r, Y: r}, vg.Point{X: r, Y: -r}), inkFailed, false)
	case "hot":
		p := corners(vg.Point{X: -r - 1}, vg.Point{Y: -r - 1}, vg.Point{X: r + 1}, vg.Point{Y: r + 1})
		p.Close()
		paint(c, p, inkPaper, true)
		paint(c, p, inkHot, false)
		paint(c, corners(vg.Point{Y: -2}, vg.Point{Y: 2}), inkHot, false)
	default:
		ring(inkPaper, r, true)
		ring(inkAxis, r, false)
	}
}

func paint(c *draw.Canvas, p vg.Path, i ink, fill bool) {
	c.SetColor(i)
	if fill {
		c.Fill(p)
		return
	}
	c.SetLineWidth(1.5)
	c.SetLineDash(nil, 0)
	c.Stroke(p)
}

// mark is a point of the data with its shape and what a pointer reads there.
type mark struct {
	x, y float64
	kind string
	name string
}

// marks draws them in order.
type marks []mark

// Plot draws the marks; it makes marks a plot.Plotter.
func (m marks) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	for _, k := range m {
		named(c, k.name, func() { drawMark(&c, k.kind, vg.Point{X: x(k.x), Y: y(k.y)}) })
	}
}

// DataRange is the span of the marks.
func (m marks) DataRange() (xmin, xmax, ymin, ymax float64) {
	xmin, ymin, xmax, ymax = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, k := range m {
		xmin, xmax, ymin, ymax = min(xmin, k.x), max(xmax, k.x), min(ymin, k.y), max(ymax, k.y)
	}
	return xmin, xmax, ymin, ymax
}

// named puts a shape under a name. The library wraps a canvas each time that
// it crops it.
func named(c draw.Canvas, name string, shape func()) {
	under := c.Canvas
	for {
		switch x := under.(type) {
		case draw.Canvas:
			under = x.Canvas
			continue
		case *canvas:
			x.group(name, shape)
			return
		}
		shape()
		return
	}
}

// level is a dashed line across the chart with its name on it.
type level struct {
	y    float64
	name string
}

// Plot draws the line and its name; it makes level a plot.Plotter.
func (l level) Plot(c draw.Canvas, p *plot.Plot) {
	_, y := p.Transforms(&c)
	if !c.ContainsY(y(l.y)) {
		return
	}
	line := draw.LineStyle{Color: inkLimit, Width: 1.6, Dashes: []vg.Length{7, 4}}
	c.StrokeLine2(line, c.Min.X, y(l.y), c.Max.X, y(l.y))
	c.FillText(style(inkLimit, draw.XLeft, draw.YBottom), vg.Point{X: c.Min.X + 4, Y: y(l.y) + 2}, l.name)
}

// band is an estimate with its interval, along x.
type band struct{ x, low, mid, high []float64 }

// Plot draws interval and line; it makes band a plot.Plotter.
func (b band) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	var outline, line []vg.Point
	for i := range b.x {
		outline = append(outline, vg.Point{X: x(b.x[i]), Y: y(b.high[i])})
		line = append(line, vg.Point{X: x(b.x[i]), Y: y(b.mid[i])})
	}
	for i := len(b.x) - 1; i >= 0; i-- {
		outline = append(outline, vg.Point{X: x(b.x[i]), Y: y(b.low[i])})
	}
	c.FillPolygon(inkBand, c.ClipPolygonXY(outline))
	c.StrokeLines(draw.LineStyle{Color: inkAccent, Width: 2}, c.ClipLinesXY(line)...)
}

// grid draws a fine line at each labelled mark of the vertical axis.
type grid struct{}

// Plot draws the lines; it makes grid a plot.Plotter.
func (grid) Plot(c draw.Canvas, p *plot.Plot) {
	_, y := p.Transforms(&c)
	for _, t := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
		if !t.IsMinor() {
			c.StrokeLine2(draw.LineStyle{Color: inkGrid, Width: 0.8}, c.Min.X, y(t.Value), c.Max.X, y(t.Value))
		}
	}
}

// whole marks each whole number, or fewer where there are many.
func whole(lo, hi float64) []plot.Tick {
	step := math.Max(1, math.Ceil((hi-lo)/8))
	var out []plot.Tick
	for v := math.Ceil(lo); v <= hi; v += step {
		out = append(out, plot.Tick{Value: v, Label: tenth(v)})
	}
	return out
}

// nice marks round numbers, about five, printed with so many decimals.
func nice(decimals int) plot.TickerFunc {
	return func(lo, hi float64) []plot.Tick {
		raw := (hi - lo) / 5
		step := math.Pow(10, math.Floor(math.Log10(raw)))
		for _, k := range []float64{1, 2, 5, 10} {
			if k*step >= raw {
				step *= k
				break
			}
		}
		var out []plot.Tick
		for n := int(math.Ceil(lo/step - 1e-9)); float64(n)*step <= hi+1e-9; n++ {
			v := float64(n) * step
			out = append(out, plot.Tick{Value: v, Label: fixed(v, decimals)})
		}
		return out
	}
}
