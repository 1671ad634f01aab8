package sample

import (
	"fmt"
	"math"

	"belay/internal/heat"
	"belay/internal/trial"
	"belay/internal/units"
)

// Want is what a reduction may know of the trial. Zero means "not known".
type Want struct {
	Clock units.Megahertz // the clock that the settings ask for
	Limit units.Watt      // the sustained power limit
}

// Words for how the clock and the warm-up went.
const (
	Held       = "held"
	Slowed     = "throttled"
	Reached    = "reached"
	NotReached = "not reached"
	Unknown    = "unknown"
)

// Reduced is what a series says of a trial.
type Reduced struct {
	LoadVoltage  units.Volt      `json:"load_voltage_v,omitzero"`  // median under load
	CoreTemp     units.Celsius   `json:"core_temp_c,omitzero"`     // highest under load
	PackagePower units.Watt      `json:"package_power_w,omitzero"` // mean under load
	Clock        units.Megahertz `json:"clock_mhz,omitzero"`       // median over the last third of the load
	ClockState   string          `json:"clock"`                    // held, throttled or unknown
	AtCap        bool            `json:"at_cap"`                   // the power sat at the sustained limit while the clock was down
	WarmUp       string          `json:"warm_up"`                  // reached, not reached or unknown
	Seconds      int             `json:"seconds"`                  // from the first to the last sample
	LoadSeconds  int             `json:"load_seconds"`             // of that, under load
	Samples      int             `json:"samples"`                  // seconds with readings
	Gaps         int             `json:"gaps"`                     // breaks of more than five usual steps
	Warnings     []string        `json:"warnings"`
}

// Readings returns the reduced values as the readings of a trial.
func (r Reduced) Readings() trial.Readings {
	return trial.Readings{
		LoadVoltage: r.LoadVoltage, CoreTemp: r.CoreTemp, PackagePower: r.PackagePower, Clock: r.Clock,
	}
}

// Limits of the reduction, all chosen.
const (
	settle     = 5    // s at the start of a load that do not count: the regulator and the clock settle
	edge       = 2    // s at its end that do not count either
	gapAfter   = 5    // usual steps without a sample that count as a gap
	heldShare  = 0.97 // of the wanted clock; below is slowed down. A clock meter is good to about 1 %
	capShare   = 0.97 // of the limit; a mean power above sits at it
	settledC   = 1.0  // °C that may still be missing after the warm-up; sensors read whole degrees
	shortest   = 120  // s of load below which nothing is said of the warm-up
	fitPoints  = 60   // temperatures that the warm-up is fitted to
	leastUnder = 10   // samples of load below which the readings are called thin
)

// Reduce reduces a series: load voltage as the median under load, hottest
// core, mean power, clock near the end, whether the clock held, and whether
// the warm-up was over. When idle time surrounds the load, only the longest
// stretch of load counts. A quantity that was never read stays zero.
func (s *Series) Reduce(w Want) Reduced {
	r := Reduced{ClockState: Unknown, WarmUp: Unknown, Samples: len(s.samples), Warnings: []string{}}
	for _, q := range Quantities {
		if n := s.dropped[q]; n > 0 {
			r.warn("%s: %d values were out of any range and are left out.", q.Label(), n)
		}
	}
	if len(s.samples) == 0 {
		r.warn("There is no reading.")
		return r
	}
	r.Seconds = s.samples[len(s.samples)-1].At - s.samples[0].At + 1
	step := s.step()
	for i := 1; i < len(s.samples); i++ {
		if s.samples[i].At-s.samples[i-1].At > gapAfter*step {
			r.Gaps++
		}
	}
	if r.Gaps > 0 {
		r.warn("%d times, more than %d s passed without a reading.", r.Gaps, gapAfter*step)
	}
	load, how := underLoad(s.samples)
	if how != "" {
		r.Warnings = append(r.Warnings, how)
	}
	for _, x := range load {
		if x.loaded {
			r.LoadSeconds += step
		}
	}
	if r.LoadSeconds < leastUnder*step {
		r.warn("Only %d s are under load, so these values are thin.", r.LoadSeconds)
	}
	r.fill(load)
	r.judgeClock(load, w)
	r.WarmUp = warmUp(load)
	return r
}

// step is the usual time between samples in seconds: 1 unless a logger is
// slower.
func (s *Series) step() int {
	var steps []float64
	for i := 1; i < len(s.samples); i++ {
		steps = append(steps, float64(s.samples[i].At-s.samples[i-1].At))
	}
	if len(steps) == 0 {
		return 1
	}
	return max(1, int(median(steps)))
}

func (r *Reduced) warn(format string, args ...any) {
	r.Warnings = append(r.Warnings, fmt.Sprintf(format, args...))
}

// settledOf leaves out the seconds at both ends of a load, which may hold
// rest as well; a load of little more than those stays whole.
func settledOf(load []moment) []moment {
	from := after(load, settle)
	if len(load)-from <= 2*settle {
		return load
	}
	to := len(load)
	for to > from && load[len(load)-1].At-load[to-1].At < edge {
		to--
	}
	return load[from:to]
}

// fill takes the four readings from the stretch of load.
func (r *Reduced) fill(load []moment) {
	settled := settledOf(load)
	if x := read(settled, Voltage, true); len(x) > 0 {
		r.LoadVoltage = units.Volt(math.Round(median(x)*1e4) / 1e4)
	}
	if x := read(load, Temp, false); len(x) > 0 {
		r.CoreTemp = units.Celsius(math.Round(quantile(x, 1)*10) / 10)
	}
	if x := read(settled, Power, true); len(x) > 0 {
		r.PackagePower = units.Watt(math.Round(mean(x)*10) / 10)
	}
	if x := read(lastThird(settled), Clock, true); len(x) > 0 {
		r.Clock = units.Megahertz(math.Round(median(x)))
	}
}

// judgeClock says whether the clock held: a throttle count that grew or a
// flag that was up says no, and so does a clock below the wanted one, or, where
// that is not known, below the highest that the load itself reached.
func (r *Reduced) judgeClock(load []moment, w Want) {
	settled := settledOf(load)
	clocks := read(settled, Clock, true)
	counts := read(load, Throttle, false)
	switch {
	case slowedDown(counts):
		r.ClockState = Slowed
	case len(clocks) > 0:
		want := float64(w.Clock)
		if want == 0 {
			want = quantile(clocks, 0.95)
		}
		r.ClockState = Held
		if quantile(clocks, 0.10) < heldShare*want {
			r.ClockState = Slowed
		}
	case len(counts) > 0:
		r.ClockState = Held
	}
	power := read(lastThird(settled), Power, true)
	r.AtCap = w.Limit > 0 && r.ClockState == Slowed && len(power) > 0 && mean(power) >= capShare*float64(w.Limit)
}

// slowedDown reports whether a flag (0 or 1) was up at any time, or a count
// grew.
func slowedDown(counts []float64) bool {
	if len(counts) == 0 {
		return false
	}
	most := quantile(counts, 1)
	return most == 1 || most > counts[0]
}

// warmUp says whether the temperature had settled at the end of the load. It
// fits a step response, and where that does not fit it compares the last
// fifth of the load with the one before.
func warmUp(load []moment) string {
	var series []heat.Sample
	var temps []float64
	if len(load) == 0 {
		return Unknown
	}
	for _, x := range load {
		if t := x.Values[Temp]; !math.IsNaN(t) {
			series = append(series, heat.Sample{At: units.Minutes(float64(x.At-load[0].At) / 60), Temp: units.Celsius(t)})
			temps = append(temps, t)
		}
	}
	n := len(temps)
	if n < 10 || load[len(load)-1].At-load[0].At < shortest {
		return Unknown
	}
	said := map[bool]string{true: Reached, false: NotReached}
	thin := make([]heat.Sample, 0, fitPoints)
	for i := range min(fitPoints, n) {
		thin = append(thin, series[i*(n-1)/max(min(fitPoints, n)-1, 1)])
	}
	fifth := n / 5
	rising := median(temps[n-fifth:]) - median(temps[n-2*fifth:n-fifth])
	if fit, err := heat.FitWarmUp(thin, nil); err == nil && fit.Rise > 3*fit.SD && fit.Tau > 0 {
		left := fit.Rise * (1 - fit.Fraction(series[n-1].At))
		return said[left <= settledC && rising <= settledC]
	}
	return said[rising <= settledC]
}
