package chart

import (
	"fmt"
	"html"
	"image"
	"image/color"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// ink is a colour by its part in the chart. The page's style gives it a tone
// for each theme, and black or grey on paper.
type ink string

const (
	inkAxis   ink = "axis"   // axes and what is written
	inkGrid   ink = "grid"   // lines to read along
	inkAccent ink = "accent" // what is estimated
	inkBand   ink = "band"   // how uncertain that is
	inkClean  ink = "clean"
	inkFailed ink = "failed"
	inkHot    ink = "hot"
	inkLimit  ink = "limit" // what is never passed
	inkPaper  ink = "paper" // behind a mark
)

// RGBA makes ink a color.Color; nothing draws with it.
func (ink) RGBA() (r, g, b, a uint32) { return 0, 0, 0, math.MaxUint16 }

// canvas draws what the plotting library asks for as SVG with style classes
// in place of colours. The library's own SVG has style attributes, which the
// page's content policy drops, and fixed colours.
type canvas struct {
	b             strings.Builder
	width, height vg.Length
	now           pen
	stack         []pen
}

// pen is how the next shape is drawn. m is the transform: x' = m0 x + m2 y +
// m4, y' = m1 x + m3 y + m5, y upward.
type pen struct {
	ink   ink
	width vg.Length
	dash  []vg.Length
	m     [6]float64
}

func newCanvas(width, height vg.Length) *canvas {
	return &canvas{width: width, height: height, now: pen{ink: inkAxis, width: 1, m: [6]float64{1, 0, 0, 1, 0, 0}}}
}

// Size, and the methods below, are those of vg.CanvasSizer.
func (c *canvas) Size() (x, y vg.Length) { return c.width, c.height }

func (c *canvas) SetLineWidth(w vg.Length) { c.now.width = w }

func (c *canvas) SetLineDash(pattern []vg.Length, _ vg.Length) { c.now.dash = pattern }

func (c *canvas) SetColor(to color.Color) {
	c.now.ink = inkAxis
	if i, ok := to.(ink); ok {
		c.now.ink = i
	}
}

func (c *canvas) Rotate(rad float64) {
	s, k := math.Sincos(rad)
	c.transform([6]float64{k, s, -s, k, 0, 0})
}

func (c *canvas) Translate(pt vg.Point) {
	c.transform([6]float64{1, 0, 0, 1, float64(pt.X), float64(pt.Y)})
}

func (c *canvas) Scale(x, y float64) { c.transform([6]float64{x, 0, 0, y, 0, 0}) }

func (c *canvas) transform(n [6]float64) {
	m := c.now.m
	c.now.m = [6]float64{
		m[0]*n[0] + m[2]*n[1], m[1]*n[0] + m[3]*n[1],
		m[0]*n[2] + m[2]*n[3], m[1]*n[2] + m[3]*n[3],
		m[0]*n[4] + m[2]*n[5] + m[4], m[1]*n[4] + m[3]*n[5] + m[5],
	}
}

func (c *canvas) Push() { c.stack = append(c.stack, c.now) }

func (c *canvas) Pop() {
	last := len(c.stack) - 1
	c.now, c.stack = c.stack[last], c.stack[:last]
}

func (c *canvas) Stroke(p vg.Path) {
	if c.now.width <= 0 {
		return
	}
	dash := ""
	for i, d := range c.now.dash {
		if i > 0 {
			dash += " "
		}
		dash += tenth(float64(d))
	}
	if dash != "" {
		dash = ` stroke-dasharray="` + dash + `"`
	}
	fmt.Fprintf(&c.b, `<path class="s-%s" stroke-width="%s"%s d="%s"/>`, c.now.ink, tenth(float64(c.now.width)), dash, c.path(p))
}

func (c *canvas) Fill(p vg.Path) {
	fmt.Fprintf(&c.b, `<path class="f-%s" d="%s"/>`, c.now.ink, c.path(p))
}

func (c *canvas) FillString(f font.Face, pt vg.Point, text string) {
	x, y := c.at(pt)
	turn := ""
	if angle := math.Atan2(c.now.m[1], c.now.m[0]) * 180 / math.Pi; math.Abs(angle) > 0.01 {
		turn = fmt.Sprintf(` transform="rotate(%s %s %s)"`, tenth(-angle), tenth(x), tenth(y))
	}
	fmt.Fprintf(&c.b, `<text class="f-%s" x="%s" y="%s" font-size="%s"%s>%s</text>`,
		c.now.ink, tenth(x), tenth(y), tenth(f.Font.Size.Points()), turn, html.EscapeString(text))
}

// DrawImage draws nothing: no chart has a picture in it.
func (c *canvas) DrawImage(vg.Rectangle, image.Image) {}

// group puts what draw draws under one name, which a pointer or a reader
// finds.
func (c *canvas) group(name string, draw func()) {
	fmt.Fprintf(&c.b, `<g><title>%s</title>`, html.EscapeString(name))
	draw()
	c.b.WriteString(`</g>`)
}

// at maps a point to the SVG, whose y grows downward.
func (c *canvas) at(p vg.Point) (x, y float64) {
	m := c.now.m
	px, py := float64(p.X), float64(p.Y)
	return m[0]*px + m[2]*py + m[4], float64(c.height) - (m[1]*px + m[3]*py + m[5])
}

func (c *canvas) path(p vg.Path) string {
	var b strings.Builder
	move := func(letter string, pts ...vg.Point) {
		b.WriteString(letter)
		for i, pt := range pts {
			x, y := c.at(pt)
			if i > 0 {
				b.WriteByte(' ')
			}
			b.WriteString(tenth(x) + " " + tenth(y))
		}
	}
	for _, e := range p {
		switch e.Type {
		case vg.MoveComp:
			move("M", e.Pos)
		case vg.LineComp:
			move("L", e.Pos)
		case vg.ArcComp:
			c.arc(&b, move, e)
		case vg.CurveComp:
			move(map[int]string{1: "Q", 2: "C"}[len(e.Control)], append(append([]vg.Point{}, e.Control...), e.Pos)...)
		case vg.CloseComp:
			b.WriteString("z")
		}
	}
	return b.String()
}

// arc draws an arc as halves, since SVG draws no full circle at once.
func (c *canvas) arc(b *strings.Builder, move func(string, ...vg.Point), e vg.PathComp) {
	at := func(angle float64) vg.Point {
		s, k := math.Sincos(angle)
		return vg.Point{X: e.Pos.X + e.Radius*vg.Length(k), Y: e.Pos.Y + e.Radius*vg.Length(s)}
	}
	letter := "L"
	if b.Len() == 0 {
		letter = "M"
	}
	move(letter, at(e.Start))
	sweep := "0" // counter-clockwise, as y points upward here
	if e.Angle < 0 {
		sweep = "1"
	}
	for _, part := range []float64{0.5, 1} {
		r := tenth(float64(e.Radius))
		move("A"+r+" "+r+" 0 0 "+sweep+" ", at(e.Start+e.Angle*part))
	}
}

// tenth prints a coordinate to a tenth of a point, without needless zeros.
func tenth(x float64) string {
	return strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64)
}
