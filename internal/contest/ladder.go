package contest

import "belay/internal/units"

// The customary ladder. Common practice, no source.
const (
	ladderMinutes units.Minutes = 30
	ladderStep    units.Volt    = 0.010
	ladderSoak    units.Minutes = 8 * 60
)

// ladder goes 10 mV up until half an hour passes, then to the next ratio; at
// the top it goes one ratio back, to the voltage that passed there, and soaks
// for eight hours. It states no confidence.
func ladder(b *bout) verdict {
	rungs := b.climb(ladderMinutes, ladderStep)
	for i := max(len(rungs)-2, 0); i >= 0 && i < len(rungs); i-- {
		if v, ok := b.soak(rungs[i].ratio, rungs[i].volt, ladderSoak); ok || i == 0 {
			return verdict{keep: b.at(rungs[i].ratio, v)}
		}
	}
	return b.asDelivered()
}
