package heat

import (
	"fmt"
	"math"

	"belay/internal/fault"
	"belay/internal/stats"
	"belay/internal/units"
)

// WarmUp is a first-order step response: the share of the rise that has
// happened t after the load began is 1 - exp(-t/Tau).
type WarmUp struct{ Tau units.Minutes }

// TauOf returns the time constant of a cooler from its mass in kg, specific
// heat in J/(kg·K) and thermal resistance to air in K/W: their product.
func TauOf(mass, specificHeat, resistance float64) units.Minutes {
	return units.Minutes(mass * specificHeat * resistance / 60)
}

// Fraction returns the share of the rise reached after t, 0 to 1.
func (w WarmUp) Fraction(t units.Minutes) float64 {
	if t <= 0 || !(w.Tau > 0) {
		return 0
	}
	return -math.Expm1(-float64(t) / float64(w.Tau))
}

// TimeTo returns when this share of the rise is reached; NaN for a share
// outside 0 to 1, which includes 1 itself.
func (w WarmUp) TimeTo(share float64) units.Minutes {
	if !(share >= 0 && share < 1) {
		return units.Minutes(math.NaN())
	}
	return units.Minutes(-float64(w.Tau) * math.Log1p(-share))
}

// judgeAfter is how many time constants a temperature needs before it counts.
// Chosen: after four, 98 % of the rise is there, within a sensor's error.
const judgeAfter = 4

// Ripe reports whether a temperature read after t can be judged, and the
// sentence for a person if it cannot.
func (w WarmUp) Ripe(t units.Minutes) (bool, string) {
	need := judgeAfter * w.Tau
	if t >= need {
		return true, ""
	}
	return false, fmt.Sprintf("Too short to judge the temperature: %.0f %% of the rise is reached. Let the load run for %v.",
		100*w.Fraction(t), need)
}

// Sample is one reading of a temperature while a load runs.
type Sample struct {
	At   units.Minutes // since the load began
	Temp units.Celsius
}

// WarmUpFit is a step response fitted to a series.
type WarmUpFit struct {
	WarmUp
	Start    units.Celsius // temperature at the beginning
	Rise     float64       // °C from Start to settled
	SD       float64       // °C, scatter around the curve
	Warnings []string
}

// minSamples is the shortest series that is fitted. Chosen: twice the three
// unknowns.
const minSamples = 6

// FitWarmUp fits Start, Rise and Tau to a series by least squares; a known
// start is kept, nil is fitted too. It returns an Invalid fault for fewer than
// six samples or times that do not spread, and warns when the series ends
// before the temperature settles.
// The curve y = b1·(1 - exp(-b2·x)) is that of NIST's data set Misra1a.
func FitWarmUp(series []Sample, start *units.Celsius) (WarmUpFit, error) {
	first, last := math.Inf(1), math.Inf(-1)
	for _, s := range series {
		if math.IsNaN(float64(s.Temp)) || math.IsInf(float64(s.Temp), 0) {
			last = math.NaN()
			break
		}
		first, last = math.Min(first, float64(s.At)), math.Max(last, float64(s.At))
	}
	if len(series) < minSamples || !(last > first && first >= 0) {
		return WarmUpFit{}, fault.New(fault.Invalid, "The series is too short to show a warm-up.",
			"Take at least six readings while the temperature rises.")
	}
	span := last - first
	fit := func(logTau float64) WarmUpFit { return fitAtTau(series, start, math.Exp(logTau)) }
	logTau := stats.Minimum(func(x float64) float64 { return fit(x).SD }, math.Log(span/200), math.Log(span*50), 1e-10)
	f := fit(logTau)
	if f.Tau*judgeAfter > units.Minutes(last) {
		f.Warnings = append(f.Warnings, "The series ends before the temperature settles. The settled value is a guess.")
	}
	if f.Rise <= 2*f.SD {
		f.Warnings = append(f.Warnings, "The temperature hardly rises in this series. The warm-up time means little.")
	}
	return f, nil
}

// fitAtTau solves the linear part: Start and Rise at a given time constant.
func fitAtTau(series []Sample, start *units.Celsius, tau float64) WarmUpFit {
	f := WarmUpFit{WarmUp: WarmUp{units.Minutes(tau)}}
	n := float64(len(series))
	var mx, my float64
	if start == nil {
		for _, s := range series {
			mx += f.Fraction(s.At) / n
			my += float64(s.Temp) / n
		}
	} else {
		my = float64(*start)
	}
	var sxx, sxy float64
	for _, s := range series {
		x, y := f.Fraction(s.At)-mx, float64(s.Temp)-my
		sxx += x * x
		sxy += x * y
	}
	f.Rise = sxy / sxx
	f.Start = units.Celsius(my - f.Rise*mx)
	var rss float64
	for _, s := range series {
		r := float64(s.Temp) - float64(f.Start) - f.Rise*f.Fraction(s.At)
		rss += r * r
	}
	f.SD = math.Sqrt(rss / n)
	return f
}
