package gain

import (
	"math"

	"belay/internal/fault"
	"belay/internal/stats"
	"belay/internal/units"
)

// Point is one score at one sustained clock, all else equal.
type Point struct {
	Clock units.Megahertz // above 0
	Score float64         // above 0
}

// Elasticity is the share of a rise in clock that arrives in the score:
// Beta = d ln(score) / d ln(clock). Work that waits for memory has less than 1.
type Elasticity struct {
	Beta     float64
	Interval stats.Interval
	Noise    float64 // scatter of one score about the line, as a share
	N        int
	Warnings []string

	line stats.Line
}

// FitElasticity fits ln(score) = a + Beta ln(clock). It wants three points at
// two clocks or more.
func FitElasticity(points []Point, conf float64) (Elasticity, error) {
	clocks, scores := make([]float64, len(points)), make([]float64, len(points))
	for i, p := range points {
		clocks[i], scores[i] = float64(p.Clock), p.Score
	}
	x, err := stats.Logs(clocks)
	if err != nil {
		return Elasticity{}, fault.Wrap("clocks", err)
	}
	y, err := stats.Logs(scores)
	if err != nil {
		return Elasticity{}, fault.Wrap("scores", err)
	}
	line, err := stats.FitLine(x, y)
	if err != nil {
		return Elasticity{}, fault.Wrap("elasticity", err)
	}
	iv, err := line.SlopeInterval(conf)
	if err != nil {
		return Elasticity{}, err
	}
	e := Elasticity{Beta: line.Slope, Interval: iv, Noise: line.ResidualSD, N: line.N, line: line}
	e.Warnings = append(e.Warnings, line.Warnings...)
	if iv.Low > 1 {
		e.Warnings = append(e.Warnings, "The score rose faster than the clock. Something else changed too.")
	}
	if iv.High < 0 {
		e.Warnings = append(e.Warnings, "The score falls as the clock rises. Look for throttling.")
	}
	if iv.Contains(0) {
		e.Warnings = append(e.Warnings, "No effect of the clock is measurable yet. More scores at the lowest and highest clock help most.")
	}
	return e, nil
}

// Step is the predicted gain of a change of clock.
type Step struct {
	Ratio    float64        // score after over before
	Interval stats.Interval // of the true ratio
	// Visible says whether the predicted gain exceeds Smallest, the smallest
	// difference that the planned runs on each side can show.
	Visible  bool
	Smallest float64 // as a share, 0.01 for 1 %
	Warnings []string
}

// Predict returns the gain of going from one clock to another, and whether
// runs scores on each side (two or more) could show it.
func (e Elasticity) Predict(from, to units.Megahertz, runs int) (Step, error) {
	if e.N == 0 {
		return Step{}, fault.New(fault.Invalid, "There is no fitted line yet.", "Score at two clocks first.")
	}
	if !(from > 0) || !(to > 0) || math.IsInf(float64(from), 0) || math.IsInf(float64(to), 0) {
		return Step{}, fault.New(fault.Invalid, "A clock is missing.", "Give both clocks in MHz, above 0.")
	}
	smallest, err := Smallest(e.Noise, runs, e.Interval.Confidence)
	if err != nil {
		return Step{}, err
	}
	rise := math.Log(float64(to) / float64(from))
	a, b := math.Exp(e.Interval.Low*rise), math.Exp(e.Interval.High*rise)
	s := Step{
		Ratio:    math.Exp(e.Beta * rise),
		Interval: stats.Interval{Low: math.Min(a, b), High: math.Max(a, b), Confidence: e.Interval.Confidence},
		Smallest: smallest,
		Warnings: append([]string(nil), e.Warnings...),
	}
	s.Visible = s.Ratio > 1+smallest
	if !s.Visible && rise > 0 {
		s.Warnings = append(s.Warnings, "The predicted gain is lost in the scatter of the scores.")
	}
	return s, nil
}

// Smallest returns the smallest gain, as a share, that runs scores on each side
// show with a chance of 80 %, for scores that scatter by the share noise.
func Smallest(noise float64, runs int, conf float64) (float64, error) {
	if !(noise >= 0) || math.IsInf(noise, 0) {
		return 0, fault.New(fault.Invalid, "The scatter of the scores is unknown.", "Repeat a score first.")
	}
	if runs < 2 {
		return 0, fault.New(fault.Invalid, "One run on a side shows no difference.", "Plan two runs or more.")
	}
	if !(conf > 0 && conf < 1) {
		return 0, fault.Newf(fault.Invalid, "Use a confidence between 0 and 1, such as 0.95.", "%v is not a confidence.", conf)
	}
	df := float64(2*runs - 2)
	wide, err := stats.StudentQuantile(1-(1-conf)/2, df)
	if err != nil {
		return 0, err
	}
	sure, err := stats.StudentQuantile(settleChance, df)
	if err != nil {
		return 0, err
	}
	return math.Expm1((wide + sure) * noise * math.Sqrt(2/float64(runs))), nil
}
