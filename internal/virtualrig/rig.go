// Package virtualrig is a simulated PC: it answers settings with readings,
// wrong results, heat or sudden death, for practice and for judging a planner
// over a whole population of machines.
//
// A rig is drawn from a seed and a variant, and never changes afterwards.
// Every trial is a pure function of the rig, the trial's number, settings,
// load and length, so a replay gives the same answer. Luck belongs to the
// trial's number and load: two settings tried under one number share it, and
// a longer trial continues the shorter one.
//
// The truth of a rig (Need, TrueMTBF, Oracle) is for judging only. Its physics
// is written here on its own and shares no code with the models it judges.
// Physics and distributions: docs/models/practice-rig.md.
package virtualrig

import (
	"slices"
	"strings"

	"belay/internal/fault"
	"belay/internal/trial"
	"belay/internal/units"
)

// Variant names the law that a rig's failures and readings follow.
type Variant string

// The variants, from the kindest to the meanest.
const (
	Own         Variant = "own"          // hazard exponential in voltage, need in the models' form
	Gaussian    Variant = "gaussian"     // Gaussian supply noise: hazard is a normal tail
	HeavyTail   Variant = "heavy-tail"   // far above the need the hazard falls more slowly
	PerCore     Variant = "per-core"     // each core has its own need, slope and width
	Background  Variant = "background"   // resets that have nothing to do with voltage
	MeterDrift  Variant = "meter-drift"  // the voltage meter is off and wanders from trial to trial
	WarmUp      Variant = "warm-up"      // heats slowly, and needs more voltage when hot
	CoarseTimes Variant = "coarse-times" // time to failure known to the minute, or not at all
	Worst       Variant = "worst"        // heavy-tail, per-core, background, meter-drift, warm-up and coarse-times together
)

// Variants lists every variant.
func Variants() []Variant {
	return []Variant{Own, Gaussian, HeavyTail, PerCore, Background, MeterDrift, WarmUp, CoarseTimes, Worst}
}

// Rig is one simulated machine. It is immutable and safe for use from many
// goroutines.
type Rig struct {
	seed    uint64
	variant Variant
	quirks  quirks
	t       truth
}

// New draws the machine of this seed under this variant. One seed has the
// same parts under every variant; the variant changes the law of its failures
// and readings. An unknown variant gives an Invalid fault with the list.
func New(seed uint64, v Variant) (*Rig, error) {
	if !slices.Contains(Variants(), v) {
		names := make([]string, 0, len(Variants()))
		for _, known := range Variants() {
			names = append(names, string(known))
		}
		return nil, fault.Newf(fault.Invalid, "Choose one of: "+strings.Join(names, ", ")+".",
			"There is no practice rig of the kind %q.", string(v))
	}
	q := drawQuirks(seed, v)
	return &Rig{seed: seed, variant: v, quirks: q, t: drawTruth(seed, v, q)}, nil
}

// Machine returns what a person could read off the rig: its parts, ratings
// and delivered limits. Every field is filled.
func (r *Rig) Machine() trial.Machine {
	t := &r.t
	k := t.dram.kit
	return trial.Machine{
		Cores: t.core.count, StockRatio: units.Ratio(t.core.stock), StockCacheRatio: units.Ratio(t.cache.stock),
		BaseClock: baseClock, TempLimit: units.Celsius(t.cooling.limit), Cooler: t.cooling.kind,
		MemoryStandard: k.standard, MemoryModules: k.modules, MemoryGB: k.gb,
		KitRate: k.rated.rate, KitCL: k.rated.cl, KitTRCD: k.rated.rcd, KitTRP: k.rated.rp, KitTRAS: k.rated.ras,
		KitVoltage: units.Volt(k.rated.volt), SustainedLimit: units.Watt(t.supply.limit),
		SupplyW: units.Watt(t.supply.rating), Firmware: t.supply.firmware,
	}
}

// AirTemp returns the true temperature of the air at the intake.
func (r *Rig) AirTemp() units.Celsius { return units.Celsius(r.t.cooling.air) }

// LoadLines lists the load-line levels that this rig's firmware offers, in
// the firmware's order. Which end is steep differs from rig to rig.
func (r *Rig) LoadLines() []string {
	names := make([]string, 0, len(r.t.supply.levels))
	for _, l := range r.t.supply.levels {
		names = append(names, l.name)
	}
	slices.Sort(names)
	return names
}
