package loadline

import (
	"math"
	"slices"

	"belay/internal/fault"
	"belay/internal/units"

	"gonum.org/v1/gonum/mat"
)

// StockPoint is a voltage that the machine asks for by itself at a clock.
type StockPoint struct {
	Clock   units.Megahertz
	Voltage units.Volt
}

// Curve is the stock voltage over clock. It is immutable; make it with NewCurve.
type Curve struct {
	points []StockPoint // by rising clock
	beyond float64      // V per MHz above the last point
	below  float64      // V per MHz under the first
}

// NewCurve takes two or more points at different clocks, in any order. It
// returns an Invalid fault for fewer, for values out of range, and for a
// voltage that falls while the clock rises.
func NewCurve(points []StockPoint) (Curve, error) {
	p := slices.Clone(points)
	slices.SortFunc(p, func(a, b StockPoint) int {
		switch {
		case a.Clock < b.Clock:
			return -1
		case a.Clock > b.Clock:
			return 1
		}
		return 0
	})
	if len(p) < 2 {
		return Curve{}, fault.New(fault.Invalid, "A stock curve needs two points.", "Read the stock voltage at another ratio.")
	}
	for i, x := range p {
		if !(x.Clock >= 100 && x.Clock <= 12000 && x.Voltage >= 0.3 && x.Voltage <= 2) {
			return Curve{}, fault.New(fault.Invalid, "A stock point lies out of range.", "Check its clock and voltage.")
		}
		if i > 0 && (x.Clock == p[i-1].Clock || x.Voltage < p[i-1].Voltage) {
			return Curve{}, fault.New(fault.Invalid, "The stock voltage must not fall while the clock rises.", "Check the points.")
		}
	}
	c := Curve{points: p}
	c.beyond, c.below = c.steepest(), c.step(1)
	return c, nil
}

// Line returns the least-squares line: slope in mV per 100 MHz, intercept in mV.
func (c Curve) Line() (slope, intercept float64) {
	b := polyfit(c.points, 1)
	return b[1] * 1e5, b[0] * 1e3
}

// Slopes returns the slope of each step in mV per 100 MHz.
func (c Curve) Slopes() []float64 {
	out := make([]float64, 0, len(c.points)-1)
	for i := 1; i < len(c.points); i++ {
		out = append(out, 1e5*c.step(i))
	}
	return out
}

// Quadratic returns b0 + b1·f + b2·f² in mV by least squares, f in MHz. It
// needs four points; with fewer the second result is false.
func (c Curve) Quadratic() ([3]float64, bool) {
	if len(c.points) < 4 {
		return [3]float64{}, false
	}
	b := polyfit(c.points, 2)
	return [3]float64{1e3 * b[0], 1e3 * b[1], 1e3 * b[2]}, true
}

// Voltage returns the stock voltage at a clock: straight between points. Above
// the last point it goes on at the steepest of four slopes, because need rises
// ever faster and a flat last step is often a cap of the supply, not of need:
// the last step, the line, the quadratic and the alpha-power law. The second
// result is true outside the points.
func (c Curve) Voltage(clock units.Megahertz) (units.Volt, bool) {
	first, last := c.points[0], c.points[len(c.points)-1]
	switch {
	case clock < first.Clock:
		return first.Voltage - units.Volt(c.below*float64(first.Clock-clock)), true
	case clock > last.Clock:
		return last.Voltage + units.Volt(c.beyond*float64(clock-last.Clock)), true
	}
	i, _ := slices.BinarySearchFunc(c.points, clock, func(p StockPoint, f units.Megahertz) int {
		if p.Clock < f {
			return -1
		}
		return 1
	})
	i = max(i, 1)
	return c.points[i-1].Voltage + units.Volt(c.step(i)*float64(clock-c.points[i-1].Clock)), false
}

// step is the slope of step i in V per MHz.
func (c Curve) step(i int) float64 {
	return float64(c.points[i].Voltage-c.points[i-1].Voltage) / float64(c.points[i].Clock-c.points[i-1].Clock)
}

func (c Curve) steepest() float64 {
	line, _ := c.Line()
	best := math.Max(c.step(len(c.points)-1), line/1e5)
	top := c.points[len(c.points)-1]
	if q, ok := c.Quadratic(); ok {
		best = math.Max(best, (q[1]+2*q[2]*float64(top.Clock))/1e3)
	}
	if law, err := FitAlphaPower(c.points, shortChannel); err == nil {
		best = math.Max(best, law.Slope(top.Voltage, top.Clock)/1e5)
	}
	return best
}

// polyfit returns the coefficients of a least-squares polynomial of the
// voltage in V over the clock in MHz, constant first. The clock is centred and
// scaled for the fit.
func polyfit(points []StockPoint, degree int) []float64 {
	mid := float64(points[0].Clock+points[len(points)-1].Clock) / 2
	half := float64(points[len(points)-1].Clock)/2 - float64(points[0].Clock)/2
	x := mat.NewDense(len(points), degree+1, nil)
	y := mat.NewVecDense(len(points), nil)
	for i, p := range points {
		u := (float64(p.Clock) - mid) / half
		for j, v := 0, 1.0; j <= degree; j, v = j+1, v*u {
			x.Set(i, j, v)
		}
		y.SetVec(i, float64(p.Voltage))
	}
	var qr mat.QR
	qr.Factorize(x)
	var b mat.VecDense
	_ = qr.SolveVecTo(&b, false, y) // distinct clocks give full rank
	out := make([]float64, degree+1)
	for j := range out { // expand b_j·((f-mid)/half)^j
		for k := 0; k <= j; k++ {
			out[k] += b.AtVec(j) * choose(j, k) * math.Pow(-mid, float64(j-k)) / math.Pow(half, float64(j))
		}
	}
	return out
}

func choose(n, k int) float64 {
	c := 1.0
	for i := range k {
		c = c * float64(n-i) / float64(i+1)
	}
	return c
}
