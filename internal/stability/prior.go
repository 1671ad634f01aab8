package stability

import (
	"math"

	"belay/internal/fault"
	"belay/internal/trial"
	"belay/internal/units"
)

// Offset is the prior of one load class: how much more voltage it needs than
// the scalar load at the same ratio. Mean and SD in V; SD > 0.
type Offset struct {
	Mean units.Volt `json:"mean_v" yaml:"mean_v"`
	SD   units.Volt `json:"sd_v" yaml:"sd_v"`
}

// Prior is what is believed before the first trial. It is plain data, so that
// a platform file can carry it. Gaussian in a, b, c and the offsets,
// log-normal in s; all independent.
type Prior struct {
	RRef      units.Ratio     `json:"ratio_ref" yaml:"ratio_ref"`             // ratio at which d = 0
	TRef      units.Celsius   `json:"core_temp_ref_c" yaml:"core_temp_ref_c"` // hottest core at which kT adds nothing
	BaseClock units.Megahertz `json:"base_clock_mhz" yaml:"base_clock_mhz"`   // MHz per ratio step

	AMean units.Volt `json:"a_mean_v" yaml:"a_mean_v"` // ten-minute need at RRef, scalar load
	ASD   units.Volt `json:"a_sd_v" yaml:"a_sd_v"`
	BMean units.Volt `json:"b_mean_v" yaml:"b_mean_v"` // V per 100 MHz
	BSD   units.Volt `json:"b_sd_v" yaml:"b_sd_v"`
	CMean units.Volt `json:"c_mean_v" yaml:"c_mean_v"` // V per (100 MHz)^2
	CSD   units.Volt `json:"c_sd_v" yaml:"c_sd_v"`

	SMedian units.Volt `json:"s_median_v" yaml:"s_median_v"` // V per e-fold of the hazard
	SLogSD  float64    `json:"s_log_sd" yaml:"s_log_sd"`     // standard deviation of ln s

	KT  units.Volt `json:"kt_v_per_c" yaml:"kt_v_per_c"` // V per degree Celsius, fixed
	Eps float64    `json:"eps" yaml:"eps"`               // chance per trial of a failure that voltage did not cause

	// Offsets per load class, relative to scalar. A class without an entry
	// is taken as DefaultOffset.
	Offsets map[trial.Load]Offset `json:"offsets" yaml:"offsets"`
}

// DefaultOffset is the offset of a class that the prior does not name.
// Chosen: no shift, and wide, as workloads differ by tens of millivolts
// (Leng et al., MICRO 2015: the lowest working voltage is program dependent).
var DefaultOffset = Offset{Mean: 0, SD: 0.020}

// Validate returns an Invalid fault if a number is out of range: means must be
// finite, every standard deviation positive, s and the base clock positive,
// eps in (0, 0.5).
func (p Prior) Validate() error {
	bad := func(name string) error {
		return fault.Newf(fault.Invalid, "Correct the platform file, or use the default prior.",
			"the prior's %s is out of range", name)
	}
	for _, c := range []struct {
		name     string
		v        float64
		positive bool
	}{
		{"reference temperature", float64(p.TRef), false},
		{"base clock", float64(p.BaseClock), true},
		{"mean of a", float64(p.AMean), true}, {"spread of a", float64(p.ASD), true},
		{"mean of b", float64(p.BMean), false}, {"spread of b", float64(p.BSD), true},
		{"mean of c", float64(p.CMean), false}, {"spread of c", float64(p.CSD), true},
		{"median of s", float64(p.SMedian), true}, {"spread of s", p.SLogSD, true},
		{"temperature coefficient", float64(p.KT), false}, {"eps", p.Eps, true},
	} {
		if !finite(c.v) || c.positive && c.v <= 0 {
			return bad(c.name)
		}
	}
	if p.Eps >= 0.5 {
		return bad("eps")
	}
	for l, o := range p.Offsets {
		if classOf(l) < 0 || !finite(float64(o.Mean)) || !finite(float64(o.SD)) || o.SD <= 0 {
			return bad("offset of " + string(l))
		}
	}
	return nil
}

// offset returns the prior of class l > 0 in mV.
func (p *Prior) offset(l int) (mean, sd float64) {
	o, ok := p.Offsets[trial.Loads[l]]
	if !ok {
		o = DefaultOffset
	}
	return o.Mean.Millivolts(), o.SD.Millivolts()
}

// step returns d, the distance of r from the reference in steps of 100 MHz,
// and d|d|.
func (p *Prior) step(r units.Ratio) (d, dd float64) {
	d = float64(r-p.RRef) * float64(p.BaseClock) / 100
	return d, d * math.Abs(d)
}

// heat returns what temperature t adds to the need, mV; an unknown
// temperature (0 or not a number) counts as the reference.
func (p *Prior) heat(t units.Celsius) float64 {
	if t == 0 || !finite(float64(t)) {
		return 0
	}
	return p.KT.Millivolts() * float64(t-p.TRef)
}

// classOf returns the index of l in trial.Loads, -1 if unknown. Scalar is 0.
func classOf(l trial.Load) int {
	for i, k := range trial.Loads {
		if k == l {
			return i
		}
	}
	return -1
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
