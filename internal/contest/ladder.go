package contest

import "belay/internal/units"

// The customary ladder. Common practice, no source.
const (
	ladderMinutes units.Minutes = 30
	ladderStep    units.Volt    = 0.010
	ladderSoak    units.Minutes = 8 * 60
)

// ladder goes 10 mV up until half an hour passes, then to the next ratio; at
// the top it goes one ratio back, at the voltage that the top asked for, and
// soaks for eight hours. It states no confidence.
//
// Keeping the voltage is the kinder reading of "one ratio back": with the
// voltage that passed at the lower ratio itself, far fewer rigs hold.
func ladder(b *bout) verdict {
	rungs := b.climb(ladderMinutes, ladderStep)
	for i := max(len(rungs)-2, 0); i >= 0 && i < len(rungs); i-- {
		v := rungs[min(i+1, len(rungs)-1)].volt
		if used, ok := b.soak(rungs[i].ratio, v, ladderSoak); ok || i == 0 {
			return verdict{keep: b.at(rungs[i].ratio, used)}
		}
	}
	return b.asDelivered()
}
