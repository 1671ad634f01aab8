package stats

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"belay/internal/fault"
)

const (
	// maxIterations. Chosen: the hardest public case takes just under 1000.
	maxIterations = 5000
	// offsetLimit: converged when the part of the residual that the fit could
	// still remove is this small beside the residual itself (relative offset,
	// Bates and Watts, Technometrics 23, 1981, 179). Chosen: far below noise.
	offsetLimit = 1e-9
	// stepLimit ends the search when no coefficient moves by more than this
	// share. Chosen: near the resolution of a float64.
	stepLimit = 1e-13
	// stuckLimit is the relative offset that still counts as a minimum where no
	// step helps any more. Chosen: Bates and Watts call 1e-3 enough.
	stuckLimit = 1e-4
	// exactShare: converged when the sum of squares is this small beside that of
	// the start. Chosen: a residual a million million times smaller is rounding.
	exactShare = 1e-24
	// Bounds of the damping. Chosen: below the lower one it is lost in rounding,
	// beyond the upper one a step is too small to see.
	dampingMin, dampingStart, dampingMax = 1e-20, 1e-2, 1e25
	// bendStep is the share of a step over which its curvature is measured, and
	// bendLimit the largest bend beside the step. Source: Transtrum and Sethna,
	// arXiv 1201.5885 (2012), who use 0.1 and 0.75.
	bendStep, bendLimit = 0.1, 0.75
	// curvedConditionLimit is the limit for the tangent at the minimum, which is
	// scaled but not chosen by anyone. Chosen: three digits are then left.
	curvedConditionLimit = 1e13
)

// Problem is a nonlinear least-squares problem.
type Problem struct {
	N     int       // number of residuals
	Start []float64 // first guess, one number for each coefficient
	// Residuals writes model minus data for coefficients b into out, which
	// has length N. It must not keep or change b. Values that are not finite
	// mark a b where the model does not exist.
	Residuals func(b, out []float64)
}

// Nonlinear is the fitted minimum.
type Nonlinear struct {
	Coef, SE   []float64
	RSS        float64
	ResidualSD float64
	DF         int
	Iterations int
	Converged  bool // false: Coef is the best point found, not a minimum
	Warnings   []string
}

// FitNonlinear minimises the sum of squared residuals by Levenberg (1944) and
// Marquardt (1963) steps: scaled damping after Moré (1978), damping schedule
// after Nielsen (1999), bent steps after Transtrum and Sethna (2012), derivatives
// by fourth-order differences. Standard
// errors are those of the linearised model at the minimum.
func FitNonlinear(p Problem) (Nonlinear, error) {
	s, err := newSearch(p)
	if err != nil {
		return Nonlinear{}, err
	}
	if err := s.run(); err != nil {
		return Nonlinear{}, err
	}
	return s.result()
}

// search is the state of one fit.
type search struct {
	p         Problem
	b, r      []float64
	rss       float64
	first     float64 // rss at the start
	jac       *mat.Dense
	scale     []float64
	damping   float64
	grow      float64
	iteration int
	converged bool
}

func newSearch(p Problem) (*search, error) {
	if err := checkValues(p.Start); err != nil {
		return nil, fault.Wrap("start", err)
	}
	if need := len(p.Start) + 1; p.N < need {
		return nil, fault.Newf(fault.Invalid, "Measure more points, then fit again.",
			"%s cannot carry a fit of %d unknowns.", counted(p.N, "point"), len(p.Start))
	}
	s := &search{p: p, b: append([]float64(nil), p.Start...), damping: dampingStart, grow: 2}
	s.r, s.rss = s.at(s.b)
	if !finite(s.rss) {
		return nil, fault.New(fault.Invalid, "The model has no finite value at the first guess.", "Choose another first guess.")
	}
	s.first = s.rss
	s.scale = make([]float64, len(s.b))
	s.jac = mat.NewDense(p.N, len(s.b), nil)
	return s, nil
}

// at returns the residuals at b and their sum of squares.
func (s *search) at(b []float64) ([]float64, float64) {
	r := make([]float64, s.p.N)
	s.p.Residuals(b, r)
	squares := make([]float64, len(r))
	for i, v := range r {
		squares[i] = v * v
		if !finite(squares[i]) {
			return r, math.Inf(1)
		}
	}
	return r, sum(squares)
}

func (s *search) run() error {
	fresh := true
	for s.iteration = 0; s.iteration < maxIterations && s.damping < dampingMax; s.iteration++ {
		if fresh {
			if err := s.differentiate(); err != nil {
				return err
			}
			if s.settled(offsetLimit) {
				s.converged = true
				return nil
			}
		}
		step, predicted := s.step()
		moved, share := s.moved(step)
		r, rss := s.at(moved)
		if rss < s.rss {
			s.accept(moved, r, rss, (s.rss-rss)/predicted)
			fresh = true
		} else {
			s.damping *= s.grow
			s.grow *= 2
			fresh = false
		}
		if share < stepLimit {
			break
		}
	}
	err := s.differentiate()
	s.converged = err == nil && s.settled(stuckLimit)
	return err
}

// differentiate fills the Jacobian by fourth-order central differences and
// the damping scale by the lengths of its columns.
func (s *search) differentiate() error {
	b := append([]float64(nil), s.b...)
	for j := range b {
		// The step that balances rounding and truncation: eps^(1/5).
		h := 7.4e-4 * math.Abs(s.b[j])
		if h == 0 {
			h = 1e-6
		}
		var f [4][]float64
		for k, m := range []float64{-2, -1, 1, 2} {
			b[j] = s.b[j] + m*h
			f[k], _ = s.at(b)
		}
		b[j] = s.b[j]
		var length float64
		for i := range s.r {
			d := (8*(f[2][i]-f[1][i]) - (f[3][i] - f[0][i])) / (12 * h)
			if !finite(d) {
				return fault.New(fault.Invalid, "The model stops being finite beside the current guess.",
					"Choose another first guess.")
			}
			s.jac.Set(i, j, d)
			length = math.Hypot(length, d)
		}
		s.scale[j] = length
		if length == 0 {
			s.scale[j] = 1
		}
	}
	return nil
}

// settled reports whether the fit is exact or its offset below limit.
func (s *search) settled(limit float64) bool {
	return s.rss <= exactShare*s.first || s.offset() < limit
}

// offset returns the share of the residual that lies in the tangent plane.
func (s *search) offset() float64 {
	var qr mat.QR
	qr.Factorize(s.scaledJacobian(0))
	var q mat.Dense
	qr.QTo(&q)
	var inPlane float64
	for j := range s.b {
		var dot float64
		for i, v := range s.r {
			dot += q.At(i, j) * v
		}
		inPlane += dot * dot
	}
	return math.Sqrt(inPlane / s.rss)
}

// scaledJacobian returns the Jacobian with unit columns, with extra empty
// rows below it.
func (s *search) scaledJacobian(extra int) *mat.Dense {
	n, k := s.p.N, len(s.b)
	a := mat.NewDense(n+extra, k, nil)
	for i := range n {
		for j := range k {
			a.Set(i, j, s.jac.At(i, j)/s.scale[j])
		}
	}
	return a
}

// step solves the damped problem by QR of the Jacobian with the damping as
// extra rows. It returns the step, bent along the valley where that is known,
// and the reduction of the sum of squares that the linear model promises.
func (s *search) step() (step []float64, predicted float64) {
	n, k := s.p.N, len(s.b)
	a := s.scaledJacobian(k)
	for j := range k {
		a.Set(n+j, j, math.Sqrt(s.damping))
	}
	var qr mat.QR
	qr.Factorize(a)
	u := solveDamped(&qr, s.r, k)
	predicted = s.promised(u)
	bend := solveDamped(&qr, s.curvature(u), k)
	step = make([]float64, k)
	bent := floats.Norm(bend, 2) <= bendLimit*floats.Norm(u, 2)
	for j := range k {
		step[j] = u[j]
		if bent {
			step[j] += bend[j] / 2
		}
		step[j] /= s.scale[j]
	}
	return step, predicted
}

// solveDamped returns the scaled step that takes the residual r away. The
// damping rows rule out an exactly singular matrix; a step that a poor
// condition spoils raises the sum of squares and is refused.
func solveDamped(qr *mat.QR, r []float64, k int) []float64 {
	rhs := mat.NewVecDense(len(r)+k, nil)
	for i, v := range r {
		rhs.SetVec(i, -v)
	}
	var u mat.VecDense
	_ = qr.SolveVecTo(&u, false, rhs)
	return u.RawVector().Data
}

// promised returns the reduction of the damped sum of squares for step u.
func (s *search) promised(u []float64) float64 {
	after := s.linear(u, 1)
	for i := range after {
		after[i] *= after[i]
	}
	return s.rss - sum(after) + s.damping*floats.Dot(u, u)
}

// linear returns the residual that the Jacobian predicts h times u away.
func (s *search) linear(u []float64, h float64) []float64 {
	out := append([]float64(nil), s.r...)
	for i := range out {
		for j, v := range u {
			out[i] += h * s.jac.At(i, j) * v / s.scale[j]
		}
	}
	return out
}

// curvature returns the second derivative of the residuals along u (Transtrum
// and Sethna 2012, geodesic acceleration), zeros where it has no finite value.
func (s *search) curvature(u []float64) []float64 {
	b := append([]float64(nil), s.b...)
	for j := range b {
		b[j] += bendStep * u[j] / s.scale[j]
	}
	r, rss := s.at(b)
	if !finite(rss) {
		return make([]float64, len(r))
	}
	flat := s.linear(u, bendStep)
	for i := range r {
		r[i] = 2 * (r[i] - flat[i]) / (bendStep * bendStep)
	}
	return r
}

// moved returns b plus step and the largest relative move.
func (s *search) moved(step []float64) (b []float64, share float64) {
	b = make([]float64, len(s.b))
	for j := range b {
		b[j] = s.b[j] + step[j]
		share = math.Max(share, math.Abs(step[j])/(math.Abs(s.b[j])+stepLimit))
	}
	return b, share
}

// accept takes a better point; gain is the actual over the promised reduction.
func (s *search) accept(b, r []float64, rss, gain float64) {
	s.b, s.r, s.rss = b, r, rss
	s.damping = math.Max(dampingMin, s.damping*math.Max(1.0/3, 1-math.Pow(2*gain-1, 3)))
	s.grow = 2
}

func (s *search) result() (Nonlinear, error) {
	k := len(s.b)
	f := Nonlinear{
		Coef: s.b, SE: make([]float64, k), RSS: s.rss, DF: s.p.N - k,
		Iterations: s.iteration, Converged: s.converged,
	}
	f.ResidualSD = math.Sqrt(s.rss / float64(f.DF))
	if !s.converged {
		f.Warnings = append(f.Warnings, "The fit did not settle. Treat its numbers as a rough guide.")
	}
	var qr mat.QR
	qr.Factorize(s.scaledJacobian(0))
	if !(qr.Cond() < curvedConditionLimit) {
		f.Warnings = append(f.Warnings, "The data do not tell all unknowns apart. No uncertainty is given.")
		f.SE = nil
		return f, nil
	}
	inv, err := inverseGram(&qr, s.scale)
	if err != nil {
		return Nonlinear{}, err
	}
	for j := range k {
		f.SE[j] = f.ResidualSD * math.Sqrt(inv[j][j])
	}
	if s.rss <= exactShare*s.first {
		f.Warnings = append(f.Warnings, "The fit is exact, so its uncertainty is unknown.")
	}
	return f, nil
}
