package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"belay/internal/fault"
)

const (
	// conditionLimit: beyond it half of the digits of a float64 are lost and
	// the columns count as one. Chosen: about 1/sqrt(machine epsilon).
	conditionLimit = 1e8
	// exactLimit: residuals this small beside y are rounding. Chosen: some
	// hundred times the machine epsilon.
	exactLimit = 1e-13
	// conditionWarn: the estimates move much for small changes of the data.
	// Chosen: a hundred times the customary 30 (Belsley, Kuh and Welsch 1980).
	conditionWarn = 3e3
)

// Linear is a least-squares fit y = X b + e with equal, independent errors.
type Linear struct {
	Coef, SE   []float64 // one for each column
	RSS        float64   // sum of squared residuals
	ResidualSD float64   // sqrt(RSS/DF)
	R2         float64   // about the mean of y
	N, DF      int
	Condition  float64 // of X with columns scaled to length 1
	Warnings   []string

	inverse [][]float64 // (X'X)^-1
}

// Prediction is a fitted value with two intervals: where the true mean lies,
// and where one new observation would fall.
type Prediction struct {
	Value     float64
	Mean, New Interval
}

// FitLinear fits one coefficient for each column of rows; a constant needs
// its own column of ones. It wants at least one row more than columns, and
// gives an Invalid fault for columns that cannot be told apart. Columns are
// scaled and solved by QR with one step of refinement.
func FitLinear(rows [][]float64, y []float64) (Linear, error) {
	n, p, err := checkDesign(rows, y)
	if err != nil {
		return Linear{}, err
	}
	x, scale, err := scaledColumns(rows, n, p)
	if err != nil {
		return Linear{}, err
	}
	var qr mat.QR
	qr.Factorize(x)
	f := Linear{N: n, DF: n - p, Condition: qr.Cond()}
	if !(f.Condition < conditionLimit) {
		return Linear{}, fault.New(fault.Invalid, "Two of the quantities always moved together.",
			"Vary one of them alone, then fit again.")
	}
	b, err := solveRefined(&qr, x, y)
	if err != nil {
		return Linear{}, err
	}
	f.RSS, f.R2 = f.residuals(x, b, y)
	f.ResidualSD = math.Sqrt(f.RSS / float64(f.DF))
	f.inverse, err = inverseGram(&qr, scale)
	if err != nil {
		return Linear{}, err
	}
	f.Coef, f.SE = make([]float64, p), make([]float64, p)
	for j := range p {
		f.Coef[j] = b[j] / scale[j]
		f.SE[j] = f.ResidualSD * math.Sqrt(f.inverse[j][j])
	}
	f.Warnings = f.warn(floats.Norm(y, 2))
	return f, nil
}

// Predict returns the fitted value for one row of X with its intervals.
func (f Linear) Predict(row []float64, conf float64) (Prediction, error) {
	if err := checkConfidence(conf); err != nil {
		return Prediction{}, err
	}
	if err := checkValues(row); err != nil {
		return Prediction{}, err
	}
	if len(row) != len(f.Coef) {
		return Prediction{}, fault.Newf(fault.Invalid, "Give one number for each coefficient.",
			"%d numbers do not match %d coefficients.", len(row), len(f.Coef))
	}
	var value, h float64
	for i, v := range row {
		value += v * f.Coef[i]
		for j, w := range row {
			h += v * f.inverse[i][j] * w
		}
	}
	return f.predict(value, h, conf)
}

// predict spreads value by the leverage h.
func (f Linear) predict(value, h, conf float64) (Prediction, error) {
	q, err := StudentQuantile(1-(1-conf)/2, float64(f.DF))
	if err != nil {
		return Prediction{}, err
	}
	mean := q * f.ResidualSD * math.Sqrt(math.Max(0, h))
	next := q * f.ResidualSD * math.Sqrt(1+math.Max(0, h))
	return Prediction{
		Value: value,
		Mean:  Interval{Low: value - mean, High: value + mean, Confidence: conf},
		New:   Interval{Low: value - next, High: value + next, Confidence: conf},
	}, nil
}

// warn says what the fit cannot carry; size is the length of y.
func (f Linear) warn(size float64) []string {
	var w []string
	if f.DF < 2 {
		w = append(w, "One point more than the fit needs. Two more points would make the intervals useful.")
	}
	if math.Sqrt(f.RSS) <= exactLimit*size {
		w = append(w, "The fit is exact, so its uncertainty is unknown.")
	}
	if f.Condition > conditionWarn {
		w = append(w, fmt.Sprintf("Two of the quantities nearly moved together (condition %.0f).", f.Condition))
	}
	return w
}

// residuals returns the residual sum of squares and R2 for scaled columns.
func (f Linear) residuals(x *mat.Dense, b, y []float64) (rss, r2 float64) {
	squares, total := make([]float64, len(y)), make([]float64, len(y))
	m := mean(y)
	for i, r := range residual(x, b, y) {
		squares[i] = r * r
		total[i] = (y[i] - m) * (y[i] - m)
	}
	rss = sum(squares)
	if tss := sum(total); tss > 0 {
		r2 = 1 - rss/tss
	}
	return rss, r2
}

func residual(x *mat.Dense, b, y []float64) []float64 {
	r := make([]float64, len(y))
	for i := range r {
		r[i] = y[i]
		for j, v := range b {
			r[i] = math.FMA(-v, x.At(i, j), r[i])
		}
	}
	return r
}

// solveRefined solves the scaled problem and corrects it once by solving for
// its residual.
func solveRefined(qr *mat.QR, x *mat.Dense, y []float64) ([]float64, error) {
	_, p := x.Dims()
	b := make([]float64, p)
	rest := y
	for range 2 {
		var step mat.VecDense
		if err := qr.SolveVecTo(&step, false, mat.NewVecDense(len(rest), append([]float64(nil), rest...))); err != nil {
			return nil, fault.Wrap("solve", err)
		}
		for j := range b {
			b[j] += step.AtVec(j)
		}
		rest = residual(x, b, y)
	}
	for _, v := range b {
		if !finite(v) {
			return nil, fault.New(fault.Invalid, "The values are too large to fit.", "Use a larger unit.")
		}
	}
	return b, nil
}

// inverseGram returns (X'X)^-1 in the caller's scale from the triangle of QR.
func inverseGram(qr *mat.QR, scale []float64) ([][]float64, error) {
	p := len(scale)
	var full mat.Dense
	qr.RTo(&full)
	r := mat.NewTriDense(p, mat.Upper, nil)
	for i := range p {
		for j := i; j < p; j++ {
			r.SetTri(i, j, full.At(i, j))
		}
	}
	var inv mat.TriDense
	if err := inv.InverseTri(r); err != nil {
		return nil, fault.Wrap("invert", err)
	}
	out := make([][]float64, p)
	for i := range p {
		out[i] = make([]float64, p)
		for j := range p {
			for k := max(i, j); k < p; k++ {
				out[i][j] += inv.At(i, k) * inv.At(j, k)
			}
			out[i][j] /= scale[i] * scale[j]
		}
	}
	return out, nil
}

func checkDesign(rows [][]float64, y []float64) (n, p int, err error) {
	if err := checkValues(y); err != nil {
		return 0, 0, err
	}
	n = len(rows)
	if n != len(y) {
		return 0, 0, fault.Newf(fault.Invalid, "Give one result for each row.", "%d rows and %d results do not match.", n, len(y))
	}
	p = len(rows[0])
	for i, r := range rows {
		if len(r) != p {
			return 0, 0, fault.Newf(fault.Invalid, "Give the same columns in each row.", "Row %d has another length.", i+1)
		}
		if err := checkValues(r); err != nil {
			return 0, 0, err
		}
	}
	if n < p+1 {
		return 0, 0, fault.Newf(fault.Invalid, fmt.Sprintf("Measure %s more.", counted(p+1-n, "point")),
			"%s cannot carry a fit of %d unknowns.", counted(n, "point"), p)
	}
	return n, p, nil
}

// scaledColumns copies rows with every column scaled to length 1.
func scaledColumns(rows [][]float64, n, p int) (*mat.Dense, []float64, error) {
	x, scale := mat.NewDense(n, p, nil), make([]float64, p)
	for j := range p {
		for i := range n {
			scale[j] = math.Hypot(scale[j], rows[i][j])
		}
		if scale[j] == 0 || !finite(scale[j]) {
			return nil, nil, fault.Newf(fault.Invalid, "Leave it out, or vary it.", "Column %d is all zero or too large.", j+1)
		}
		for i := range n {
			x.Set(i, j, rows[i][j]/scale[j])
		}
	}
	return x, scale, nil
}
