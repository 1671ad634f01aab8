// Package wear compares how fast two settings age a processor, as a factor
// with a wide band. It never gives a lifetime.
//
// The published laws of ageing have constants that differ so much that an
// absolute time would mean nothing. The ratio of two settings of one
// processor needs fewer of them, and the band over the published ranges shows
// what remains unknown. See docs/models/wear.md.
package wear

import (
	"math"

	"belay/internal/fault"
	"belay/internal/units"
)

const (
	// boltzmann is the Boltzmann constant in eV/K. Source: CODATA 2018, exact.
	boltzmann = 8.617333262e-5
	// zeroCelsius is 0 °C in K. Source: definition of the degree Celsius.
	zeroCelsius = 273.15
)

// span is a published range of a constant with the middle used.
type span struct{ low, mid, high float64 }

// Ranges after JEP122 (from memory) and the spread named in docs/models/wear.md.
// The middles are chosen: the mean of the ends.
var (
	powerExponent   = span{20, 34, 48}     // voltage power law, gate oxide
	voltageSlope    = span{10, 15, 20}     // 1/V, exponential law, gate oxide
	oxideEnergy     = span{0.5, 0.7, 0.9}  // eV
	currentExponent = span{1.1, 1.55, 2}   // Black's equation
	metalEnergy     = span{0.8, 0.85, 0.9} // eV, copper
	plausibleVolt   = span{0.5, 1.2, 2}    // V; chosen: outside, someone mistyped
	plausibleTemp   = span{-20, 70, 125}   // °C; chosen: outside, someone mistyped
	plausibleAmpere = span{0.1, 100, 1000} // A; chosen: outside, someone mistyped
)

// farVoltage and farTemp are distances beyond which the laws are stretched
// past what their authors fitted. Chosen: twice the range that tuning covers.
const (
	farVoltage = 0.2 // V
	farTemp    = 40  // °C
)

// Condition is what a processor lives under.
type Condition struct {
	Voltage units.Volt    // under load, 0.5 to 2 V
	Temp    units.Celsius // hottest core, -20 to 125 °C
	Ampere  float64       // package current in A; 0 if not known
}

// Band is a factor of wear against the baseline: 2 means twice as fast. Mid is
// the middle of the band, not a best estimate.
type Band struct {
	Low, Mid, High float64
}

// Result is the wear against the baseline.
type Result struct {
	Band
	// Metal is the same for the migration of metal by current, by Black's
	// equation. Nil where a current is not known.
	Metal    *Band
	Warnings []string
}

// Relative returns how fast gate oxide wears under now against baseline:
// a voltage law (exponential or power law) times Arrhenius, at every corner
// of the published ranges. It assumes one mechanism and steady conditions.
func Relative(baseline, now Condition) (Result, error) {
	for _, c := range []Condition{baseline, now} {
		if err := c.check(); err != nil {
			return Result{}, err
		}
	}
	r := Result{Band: oxide(baseline, now)}
	if baseline.Ampere > 0 && now.Ampere > 0 {
		m := metal(baseline, now)
		r.Metal = &m
	}
	r.Warnings = r.warn(baseline, now)
	return r, nil
}

// oxide spans the band by the corners: the logarithm of each law is linear in
// its constants, so the extremes lie there.
func oxide(a, b Condition) Band {
	dv := float64(b.Voltage - a.Voltage)
	ratio := float64(b.Voltage / a.Voltage)
	laws := []float64{
		Exponential(voltageSlope.low, dv), Exponential(voltageSlope.high, dv),
		PowerLaw(powerExponent.low, ratio), PowerLaw(powerExponent.high, ratio),
	}
	mid := math.Sqrt(Exponential(voltageSlope.mid, dv) * PowerLaw(powerExponent.mid, ratio))
	return corners(laws, mid, oxideEnergy, a.Temp, b.Temp)
}

func metal(a, b Condition) Band {
	ratio := b.Ampere / a.Ampere
	laws := []float64{PowerLaw(currentExponent.low, ratio), PowerLaw(currentExponent.high, ratio)}
	return corners(laws, PowerLaw(currentExponent.mid, ratio), metalEnergy, a.Temp, b.Temp)
}

func corners(laws []float64, mid float64, energy span, from, to units.Celsius) Band {
	band := Band{Low: math.Inf(1), Mid: mid * Arrhenius(energy.mid, from, to)}
	for _, law := range laws {
		for _, ea := range []float64{energy.low, energy.high} {
			f := law * Arrhenius(ea, from, to)
			band.Low, band.High = math.Min(band.Low, f), math.Max(band.High, f)
		}
	}
	return band
}

// Arrhenius returns how much faster a process of activation energy ea (eV)
// runs at to than at from: exp(ea/k (1/T_from - 1/T_to)).
func Arrhenius(ea float64, from, to units.Celsius) float64 {
	return math.Exp(ea / boltzmann * (1/kelvin(from) - 1/kelvin(to)))
}

// PowerLaw returns the factor ratio^n for a stress that rises by ratio: the
// voltage, or the current in Black's equation (Black, Proc. IEEE 57, 1969, 1587).
func PowerLaw(n, ratio float64) float64 { return math.Pow(ratio, n) }

// Exponential returns the factor exp(g dv) for dv volts more at g per volt.
func Exponential(g, dv float64) float64 { return math.Exp(g * dv) }

func kelvin(t units.Celsius) float64 { return float64(t) + zeroCelsius }

func (r Result) warn(a, b Condition) []string {
	w := []string{"This compares two settings by one way of ageing. It is not a lifetime."}
	if math.Abs(float64(b.Voltage-a.Voltage)) > farVoltage || math.Abs(float64(b.Temp-a.Temp)) > farTemp {
		w = append(w, "The settings are far apart, so the laws are stretched.")
	}
	if a.Voltage != b.Voltage || a.Temp != b.Temp {
		if r.Low <= 1 && r.High >= 1 {
			w = append(w, "The band includes 1, so which setting wears faster is not known.")
		}
	}
	return w
}

func (c Condition) check() error {
	var fields []fault.Field
	add := func(name string, v float64, s span, unit string) {
		if !(v >= s.low && v <= s.high) {
			fields = append(fields, fault.Field{Field: name,
				Message: "must lie from " + units.Format(unit, s.low) + " to " + units.Format(unit, s.high)})
		}
	}
	add("load_voltage_v", float64(c.Voltage), plausibleVolt, "V")
	add("core_temp_c", float64(c.Temp), plausibleTemp, "°C")
	if c.Ampere != 0 {
		add("ampere", c.Ampere, plausibleAmpere, "A")
	}
	if len(fields) == 0 {
		return nil
	}
	f := fault.New(fault.Invalid, "A reading is outside what a processor can show.", "Check the voltage and temperature under load.")
	f.Fields = fields
	return f
}
