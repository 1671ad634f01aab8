package gain

import (
	"math"

	"belay/internal/fault"
	"belay/internal/units"
)

// Side is one setting with what it gave and what it took.
type Side struct {
	Scores  []float64
	Power   units.Watt    // mean package power, above 0
	Temp    units.Celsius // hottest core
	Voltage units.Volt    // load voltage
}

// Cost sets the gain of a change against the power and heat it took.
type Cost struct {
	Gain       Comparison
	PowerRatio float64
	// EnergyRatio is energy for one unit of work, after over before:
	// PowerRatio / Gain.Ratio. Above 1 the same work costs more energy.
	EnergyRatio float64
	// WorkPerWattBefore and WorkPerWattAfter are score per watt, in the
	// score's own unit.
	WorkPerWattBefore, WorkPerWattAfter float64

	AddedWatts      float64
	AddedDegrees    float64 // in °C
	AddedMillivolts float64

	// Worthwhile is true where the change is measurably faster. Only then do
	// the three rates below hold; else they are 0.
	Worthwhile           bool
	PercentPerWatt       float64 // gain in percent for each added watt; 0 if no watt was added
	WattsPerPercent      float64 // added watts for each percent gained
	DegreesPerPercent    float64 // added °C for each percent gained
	MillivoltsPerPercent float64
	Warnings             []string
}

// CostOf returns what a change from one side to the other gained and cost, such
// as the last step of the ratio.
func CostOf(before, after Side, conf float64) (Cost, error) {
	for _, s := range []Side{before, after} {
		if err := s.check(); err != nil {
			return Cost{}, err
		}
	}
	g, err := Compare(before.Scores, after.Scores, conf)
	if err != nil {
		return Cost{}, err
	}
	c := Cost{
		Gain:              g,
		PowerRatio:        float64(after.Power / before.Power),
		WorkPerWattBefore: g.Before.Mean / float64(before.Power),
		WorkPerWattAfter:  g.After.Mean / float64(after.Power),
		AddedWatts:        float64(after.Power - before.Power),
		AddedDegrees:      float64(after.Temp - before.Temp),
		AddedMillivolts:   (after.Voltage - before.Voltage).Millivolts(),
		Worthwhile:        g.Verdict == Faster,
		Warnings:          g.Warnings,
	}
	c.EnergyRatio = c.PowerRatio / g.Ratio
	if !c.Worthwhile {
		c.Warnings = append(c.Warnings, "No gain is measurable, so its price per percent has no value.")
		return c, nil
	}
	percent := Percent(g.Ratio)
	c.WattsPerPercent = c.AddedWatts / percent
	c.DegreesPerPercent = c.AddedDegrees / percent
	c.MillivoltsPerPercent = c.AddedMillivolts / percent
	if c.AddedWatts > 0 {
		c.PercentPerWatt = percent / c.AddedWatts
	}
	return c, nil
}

func (s Side) check() error {
	for _, v := range []float64{float64(s.Power), float64(s.Temp), float64(s.Voltage)} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fault.New(fault.Invalid, "A reading is not a finite number.", "Read power, temperature and voltage again.")
		}
	}
	if s.Power <= 0 {
		return fault.New(fault.Invalid, "The package power is missing.", "Read the package power under load, in watts.")
	}
	return nil
}
