package stats

import (
	"math"

	"belay/internal/fault"
)

// Line is a straight line fitted by least squares with its uncertainty.
type Line struct {
	Intercept, InterceptSE float64
	Slope, SlopeSE         float64
	ResidualSD             float64
	R2                     float64
	N, DF                  int
	Warnings               []string

	fit    Linear // on 1 and x - centre
	centre float64
}

// FitLine fits y = Intercept + Slope x. It wants three points or more and at
// least two different x. It centres x, so that a far-off range does no harm.
func FitLine(x, y []float64) (Line, error) {
	if err := checkValues(x); err != nil {
		return Line{}, err
	}
	if len(x) != len(y) {
		return Line{}, fault.Newf(fault.Invalid, "Give one y for each x.", "%d x and %d y do not match.", len(x), len(y))
	}
	centre := mean(x)
	rows := make([][]float64, len(x))
	varies := false
	for i, v := range x {
		rows[i] = []float64{1, v - centre}
		varies = varies || v != x[0]
	}
	if !varies {
		return Line{}, fault.New(fault.Invalid, "All points share one x, so there is no slope.", "Measure at another x.")
	}
	f, err := FitLinear(rows, y)
	if err != nil {
		return Line{}, fault.Wrap("line", err)
	}
	l := Line{
		Slope: f.Coef[1], SlopeSE: f.SE[1],
		ResidualSD: f.ResidualSD, R2: f.R2, N: f.N, DF: f.DF,
		Warnings: f.Warnings, fit: f, centre: centre,
	}
	// Fused, since the two terms nearly cancel when the line passes near 0.
	l.Intercept = math.FMA(-l.Slope, centre, f.Coef[0])
	l.InterceptSE = f.ResidualSD * math.Sqrt(l.leverage(0))
	return l, nil
}

// Predict returns the line's value at x with the interval of the mean and of
// one new observation.
func (l Line) Predict(x, conf float64) (Prediction, error) {
	if !finite(x) {
		return Prediction{}, checkValues([]float64{x})
	}
	if err := checkConfidence(conf); err != nil {
		return Prediction{}, err
	}
	if l.N == 0 {
		return Prediction{}, fault.New(fault.Invalid, "There is no fitted line yet.", "Fit the line first.")
	}
	return l.fit.predict(l.fit.Coef[0]+l.Slope*(x-l.centre), l.leverage(x), conf)
}

// SlopeInterval returns the interval of the slope.
func (l Line) SlopeInterval(conf float64) (Interval, error) {
	if err := checkConfidence(conf); err != nil {
		return Interval{}, err
	}
	q, err := StudentQuantile(1-(1-conf)/2, float64(l.DF))
	if err != nil {
		return Interval{}, err
	}
	return Interval{Low: l.Slope - q*l.SlopeSE, High: l.Slope + q*l.SlopeSE, Confidence: conf}, nil
}

func (l Line) leverage(x float64) float64 {
	d := x - l.centre
	return l.fit.inverse[0][0] + d*d*l.fit.inverse[1][1] + 2*d*l.fit.inverse[0][1]
}
