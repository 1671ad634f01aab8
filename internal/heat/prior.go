package heat

import (
	"maps"
	"math"
	"slices"

	"belay/internal/fault"
	"belay/internal/trial"
	"belay/internal/units"
)

// Reference point at which power and leakage share are stated. Chosen: the
// middle of where tuned machines run, so that readings fix the power there and
// say little about the share, and the two hardly trade places.
const (
	refVolt  = 1.20   // V
	refClock = 4800.0 // MHz
	refTemp  = 60.0   // °C
)

// Belief is a quantity known by its median and its spread. Spread is the
// standard deviation of the natural logarithm: 0.3 means "within about 30 %".
type Belief struct {
	Median float64 `yaml:"median"`
	Spread float64 `yaml:"spread"`
}

// Room is what is assumed of the air when nobody read it, in °C.
type Room struct {
	Mean float64 `yaml:"mean"`
	SD   float64 `yaml:"sd"`
}

// Noise is how far readings stray from the truth, as standard deviations.
type Noise struct {
	Power   float64 `yaml:"power_share"`    // relative error of the package power reading
	Temp    float64 `yaml:"temp_c"`         // error of the core temperature reading
	Voltage float64 `yaml:"load_voltage_v"` // error of the load voltage reading
	Scatter float64 `yaml:"scatter_share"`  // relative scatter of dynamic power from run to run
}

// Prior is what is believed of a machine before any reading. A platform file
// carries that of a part with ten cores.
type Prior struct {
	Power      Belief                `yaml:"power_w"`            // under scalar load at 1.20 V, 4800 MHz and 60 °C
	LeakShare  Belief                `yaml:"leak_share"`         // share of leakage in Power, 0 to 1; Spread is that of its log odds
	PerVolt    Belief                `yaml:"leak_per_volt"`      // kv, 1/V
	PerDegree  Belief                `yaml:"leak_per_c"`         // kl, 1/°C
	Resistance Belief                `yaml:"resistance_k_per_w"` // R, hottest core to intake air
	WarmUp     Belief                `yaml:"warm_up_min"`        // tau
	Room       Room                  `yaml:"room_c"`             // air temperature where not read
	Factor     map[trial.Load]Belief `yaml:"dynamic_factor"`     // dynamic power against scalar load; a missing class counts as 1 +/- 0.3
	Noise      Noise                 `yaml:"noise"`
}

// referenceCores is the part that the per-core constants were chosen from.
const referenceCores = 10

// DefaultPrior returns a wide prior for a desktop part with ten cores.
//
// No published table covers these constants. They are chosen so that a
// ten-core part near 125 W at 4.2 GHz, and near 330 W at the top of the
// voltage range, lies well inside (common practice, no source). Leakage
// doubles per 20 to 45 °C; wide vectors draw about a quarter more.
func DefaultPrior() Prior {
	return Prior{
		Power:      Belief{190, 0.35},
		LeakShare:  Belief{0.12, 0.5},
		PerVolt:    Belief{3, 0.4},
		PerDegree:  Belief{0.022, 0.25},
		Resistance: Belief{0.28, 0.30},
		WarmUp:     Belief{2, 0.4},
		Room:       Room{Mean: 24, SD: 4},
		Factor: map[trial.Load]Belief{
			trial.WideVector: {1.25, 0.15},
			trial.Cache:      {0.90, 0.15},
			trial.Memory:     {0.65, 0.25},
			trial.Mixed:      {1.00, 0.12},
			trial.Bursty:     {0.50, 0.40},
		},
		Noise: Noise{Power: 0.03, Temp: 1.5, Voltage: 0.005, Scatter: 0.02},
	}
}

// For returns the prior of a part with this many cores; 0 cores means not
// known and widens the power.
func (p Prior) For(cores int) Prior {
	if cores > 0 {
		p.Power.Median *= float64(cores) / referenceCores
	} else {
		p.Power.Spread += 0.4 // chosen: four to sixteen cores lie within it
	}
	return p
}

// PriorFor returns DefaultPrior for a part with this many cores.
func PriorFor(cores int) Prior { return DefaultPrior().For(cores) }

// Validate returns an Invalid fault if a number is out of range: medians and
// spreads must be positive, the share of leakage below 1.
func (p Prior) Validate() error {
	bad := func(name string) error {
		return fault.Newf(fault.Invalid, "Correct the platform file.", "the heat prior's %s is out of range", name)
	}
	beliefs := map[string]Belief{
		"power_w": p.Power, "leak_share": p.LeakShare, "leak_per_volt": p.PerVolt, "leak_per_c": p.PerDegree,
		"resistance_k_per_w": p.Resistance, "warm_up_min": p.WarmUp,
	}
	for load, b := range p.Factor {
		if !slices.Contains(trial.Loads, load) || !b.sound() {
			return bad("dynamic_factor")
		}
	}
	for _, name := range slices.Sorted(maps.Keys(beliefs)) {
		if !beliefs[name].sound() {
			return bad(name)
		}
	}
	n := p.Noise
	switch {
	case p.LeakShare.Median >= 1:
		return bad("leak_share")
	case !(p.Room.Mean > -40 && p.Room.Mean < 80 && p.Room.SD > 0 && p.Room.SD < 100):
		return bad("room_c")
	case !(min(n.Power, n.Temp, n.Voltage, n.Scatter) > 0 && max(n.Power, n.Temp, n.Voltage, n.Scatter) < 100):
		return bad("noise")
	}
	return nil
}

func (b Belief) sound() bool {
	return b.Median > 0 && b.Median < 1e6 && b.Spread > 0 && b.Spread < 10
}

// Observation is one settled or nearly settled run. Zero means "not read".
// It teaches something if it has a core temperature or a power, and either
// voltage and clock or both of those. A value that no desktop part shows counts
// as not read: 0.3 to 2 V, 100 to 12000 MHz, 1 to 130 °C core, -40 to 80 °C
// air, 1 to 1500 W.
type Observation struct {
	Load     trial.Load
	Voltage  units.Volt      // measured under load
	Clock    units.Megahertz // sustained under load
	CoreTemp units.Celsius   // hottest core at the end
	AirTemp  units.Celsius   // intake air
	Power    units.Watt      // package power under load
	Minutes  units.Minutes   // how long the load ran; 0 = long enough
}

// FromTrial takes the readings of a trial. base is the base clock, used where
// the clock was not read. A trial that slowed itself down keeps its power and
// temperature, which still tell of the cooler, but not its voltage and clock.
// The second result is false for a trial that teaches nothing about heat.
func FromTrial(t trial.Trial, base units.Megahertz) (Observation, bool) {
	o := Observation{
		Load: t.Load, Voltage: t.Readings.LoadVoltage, Clock: t.Readings.Clock,
		CoreTemp: t.Readings.CoreTemp, AirTemp: t.Readings.AirTemp,
		Power: t.Readings.PackagePower, Minutes: t.Minutes,
	}
	if o.Clock == 0 {
		o.Clock = units.Megahertz(t.Settings.Ratio) * base
	}
	if t.Load == trial.WideVector && t.Readings.Clock == 0 {
		o.Clock -= units.Megahertz(t.Settings.WideVectorOffset) * base
	}
	if t.Outcome == trial.Throttled {
		o.Voltage, o.Clock = 0, 0
	}
	return o, t.Outcome != trial.NoBoot && o.plausible().teaches()
}

// plausible clears what no desktop part shows.
func (o Observation) plausible() Observation {
	if !(o.Voltage >= 0.3 && o.Voltage <= 2) {
		o.Voltage = 0
	}
	if !(o.Clock >= 100 && o.Clock <= 12000) {
		o.Clock = 0
	}
	if !(o.CoreTemp >= 1 && o.CoreTemp <= 130) {
		o.CoreTemp = 0
	}
	if !(o.AirTemp >= -40 && o.AirTemp <= 80) {
		o.AirTemp = 0
	}
	if !(o.Power >= 1 && o.Power <= 1500) {
		o.Power = 0
	}
	if !(o.Minutes > 0 && o.Minutes < units.Minutes(math.Inf(1))) {
		o.Minutes = 0
	}
	return o
}

func (o Observation) driven() bool { return o.Voltage > 0 && o.Clock > 0 }

func (o Observation) teaches() bool {
	if o.driven() {
		return o.Power > 0 || o.CoreTemp > 0
	}
	return o.Power > 0 && o.CoreTemp > 0
}
