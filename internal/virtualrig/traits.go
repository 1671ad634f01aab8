package virtualrig

import "slices"

// The traits: rare kinds of rig, so that every way on of a guide can be met
// in practice.
const (
	TraitThrottles      = "throttles as delivered"       // badly mounted cooler: at its temperature limit even with the delivered power limit
	TraitUnstable       = "unstable as delivered"        // fails under load at delivered settings within about half an hour
	TraitProfileNoBoot  = "memory profile does not boot" // the rated profile does not start; one lower data rate holds
	TraitProfileErrors  = "memory profile has errors"    // the rated profile starts and makes errors; one lower data rate holds
	TraitProfileIgnored = "memory profile is ignored"    // profile "on" alone changes nothing; entering the data rate as well applies it
	TraitCapLifted      = "power limit already lifted"   // delivered without a real sustained limit
	TraitDroopHuge      = "droop is huge at every level" // even the flattest load line droops far
	TraitOvershoot      = "load line can overshoot"      // the flattest level raises the voltage under load
	TraitCacheNoGain    = "cache ratio gains nothing"    // no score from the cache ratio
	TraitHotUncapped    = "too hot without power limit"  // reaches its temperature limit once the power limit is lifted
	TraitNoHeadroom     = "memory has no headroom"       // no step of data rate, CL, tRCD or tRP past the rating holds, at any voltage
	TraitBackground     = "resets for no reason"         // rare resets that no setting cures
	TraitIdle           = "fails only when idle"         // adaptive and offset voltage sag at the low end
)

// AllTraits lists every trait.
func AllTraits() []string {
	return []string{
		TraitThrottles, TraitUnstable, TraitProfileNoBoot, TraitProfileErrors, TraitProfileIgnored,
		TraitCapLifted, TraitDroopHuge, TraitOvershoot, TraitCacheNoGain, TraitHotUncapped,
		TraitNoHeadroom, TraitBackground, TraitIdle,
	}
}

// quirks is what is rare about one rig.
type quirks struct {
	throttles, unstable                          bool
	profileNoBoot, profileErrors, profileIgnored bool
	capLifted, hotUncapped                       bool
	droopHuge, overshoot                         bool
	cacheNoGain, noHeadroom, background, idle    bool
}

// drawQuirks draws the traits of a seed. The shares are chosen so that each
// trait is met within some dozens of seeds, and a third of the rigs has none.
// Traits that would hide each other exclude each other.
func drawQuirks(seed uint64, v Variant) quirks {
	d := newDice(seed, streamQuirks)
	var q quirks
	switch u := d.Float64(); {
	case u < 0.03:
		q.throttles = true
	case u < 0.06:
		q.unstable = true
	}
	switch u := d.Float64(); {
	case u < 0.05:
		q.profileNoBoot = true
	case u < 0.10:
		q.profileErrors = true
	case u < 0.14:
		q.profileIgnored = true
	}
	switch u := d.Float64(); {
	case u < 0.15:
		q.capLifted = true
	case u < 0.25:
		q.hotUncapped = !q.throttles
	}
	switch u := d.Float64(); {
	case u < 0.05:
		q.droopHuge = true
	case u < 0.25:
		q.overshoot = true
	}
	q.cacheNoGain = d.chance(0.15)
	q.noHeadroom = d.chance(0.10) && !q.profileNoBoot && !q.profileErrors
	q.background = d.chance(0.04) || v == Background || v == Worst
	q.idle = d.chance(0.10)
	return q
}

func (q quirks) list() []string {
	has := []bool{
		q.throttles, q.unstable, q.profileNoBoot, q.profileErrors, q.profileIgnored,
		q.capLifted, q.droopHuge, q.overshoot, q.cacheNoGain, q.hotUncapped,
		q.noHeadroom, q.background, q.idle,
	}
	var names []string
	for i, name := range AllTraits() {
		if has[i] {
			names = append(names, name)
		}
	}
	return names
}

// Traits lists what is rare about this rig, in the order of AllTraits. Most
// rigs have none or one.
func (r *Rig) Traits() []string { return r.quirks.list() }

// seedsSearched bounds SeedWith. Chosen: the rarest trait has a share of 3 %,
// so a miss means that the trait does not exist.
const seedsSearched = 100_000

// SeedWith returns the first seed at or after from whose rig has the trait
// under this variant, and false if there is no such trait.
func SeedWith(trait string, v Variant, from uint64) (uint64, bool) {
	for i := range uint64(seedsSearched) {
		if slices.Contains(drawQuirks(from+i, v).list(), trait) {
			return from + i, true
		}
	}
	return 0, false
}
