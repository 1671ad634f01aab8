package stability

import (
	"belay/internal/trial"
	"belay/internal/units"
)

// Family is what is believed of every processor of a platform before the
// first trial, whatever its ratio and voltage as delivered. A platform file
// carries it. Shares are of the load voltage as delivered.
type Family struct {
	Guardband   float64       `yaml:"guardband_share"`    // the ten-minute need lies this far below the voltage as delivered
	GuardbandSD float64       `yaml:"guardband_sd_share"` // standard deviation of that share
	Slope       units.Volt    `yaml:"slope_v"`            // V per 100 MHz
	SlopeSD     units.Volt    `yaml:"slope_sd_v"`
	Curve       units.Volt    `yaml:"curve_v"` // V per (100 MHz)^2
	CurveSD     units.Volt    `yaml:"curve_sd_v"`
	Width       units.Volt    `yaml:"width_v"`      // median of s, V per e-fold of the hazard
	WidthLogSD  float64       `yaml:"width_log_sd"` // standard deviation of ln s
	KT          units.Volt    `yaml:"kt_v_per_c"`
	TRef        units.Celsius `yaml:"core_temp_ref_c"`
	Eps         float64       `yaml:"odd_failure_share"` // chance per trial of a failure that voltage did not cause

	Offsets map[trial.Load]Offset `yaml:"offsets"`
}

// DefaultFamily is used where no platform says otherwise. Sources stand here,
// in docs/models/stability.md and in the platform file that repeats it.
func DefaultFamily() Family {
	return Family{
		// Average possible cut 12 % (Papadimitriou et al. survey, 2020), more
		// than 15 % on two parts (IOLTS 2017), about 7 to 12 % on a server part
		// (memory). Chosen: the low end of these, as the delivered top ratio has
		// less to spare than a part at its nominal speed.
		Guardband: 0.10,
		// Chosen, so that 0 to 20 % lies within two standard deviations; sample
		// spread of one part is 75 mV over four bins in a published
		// operating-point table (an embedded multicore).
		GuardbandSD: 0.05,
		// Published operating points: 26 to 52 mV per 100 MHz (line 37.8) and
		// 20 to 46 (line 29.7); alpha-power law near 5 GHz: 20 to 33.
		Slope: 0.035, SlopeSD: 0.012,
		// Least-squares quadratic through the first table: 1.16 mV per
		// (100 MHz)^2; alpha-power law near 5 GHz: about 0.6.
		Curve: 0.0010, CurveSD: 0.0010,
		// One decade of error rate per 10 mV (Das et al., JSSC 2006, memory)
		// to 20 mV (Salami et al., MICRO 2018), taken as a 90 % interval:
		// 4.34 to 8.69 mV per e-fold, geometric middle 6.14, and
		// ln 2/(2*1.645) = 0.211 for the deviation, rounded up.
		Width: 0.00614, WidthLogSD: 0.22,
		// Chosen: small. The sign differs between sources (older nodes need
		// more when hot; Zu et al., MICRO 2016 found less at 28 nm).
		KT:   0.0002,
		TRef: 75,   // chosen: a common core temperature under heavy load
		Eps:  0.01, // chosen: one odd failure in a hundred trials
		// Common practice, no source: wide vectors draw more current at once;
		// cache and memory loads stall the cores; bursts add droop.
		Offsets: map[trial.Load]Offset{
			trial.WideVector: {Mean: 0.015, SD: 0.015},
			trial.Cache:      {Mean: -0.005, SD: 0.015},
			trial.Memory:     {Mean: -0.010, SD: 0.015},
			trial.Mixed:      {Mean: 0.005, SD: 0.012},
			trial.Bursty:     {Mean: 0, SD: 0.020},
		},
	}
}

// Prior is what is believed of one processor of the family: rref is its
// delivered all-core ratio, vref the load voltage (V, in the meter's own
// terms) measured there as delivered.
func (f Family) Prior(rref units.Ratio, vref units.Volt) Prior {
	return Prior{
		RRef: rref, TRef: f.TRef,
		BaseClock: 100, // MHz; common practice, no source
		AMean:     vref * units.Volt(1-f.Guardband), ASD: vref * units.Volt(f.GuardbandSD),
		BMean: f.Slope, BSD: f.SlopeSD, CMean: f.Curve, CSD: f.CurveSD,
		SMedian: f.Width, SLogSD: f.WidthLogSD, KT: f.KT, Eps: f.Eps, Offsets: f.Offsets,
	}
}

// Validate returns an Invalid fault if a number is out of range.
func (f Family) Validate() error { return f.Prior(1, 1).Validate() }

// DefaultPrior is the prior of DefaultFamily for one processor.
func DefaultPrior(rref units.Ratio, vref units.Volt) Prior { return DefaultFamily().Prior(rref, vref) }
