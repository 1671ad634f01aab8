package memtiming

import (
	"fmt"
	"math"
	"slices"

	"belay/internal/units"
)

// Workload weighs what a person's programs ask of the memory.
type Workload struct {
	Latency   float64 // weight of a shorter access, 0 to 1
	Bandwidth float64 // weight of more bandwidth, 0 to 1
}

// EvenWorkload weighs both alike. Chosen: nothing is known of the programs.
var EvenWorkload = Workload{Latency: 0.5, Bandwidth: 0.5}

// Candidate is one change to try.
type Candidate struct {
	Settings Settings // the group after the change
	Changed  string   // field that differs: data_rate_mts, cl, trcd, trp or tras
	Gain     float64  // predicted gain of memory-bound work, as a share: 0.01 = 1 %
	Reason   string   // for a person
}

// Next returns the legal single steps up from the settings, best first: the
// data rate one step up, or one of CL, tRCD, tRP, tRAS one step down. The other
// fields stay. maxRate 0 means no limit. Settings that break a rule themselves,
// or that lie above the voltage ceiling (0 = none), have no candidates.
//
// The order is the use of the gain; its size rests on chosen shares and holds
// for memory-bound work only, see docs/models/memory.md.
func Next(s Settings, w Workload, maxRate int, ceiling units.Volt) []Candidate {
	if len(Check(s)) > 0 || ceiling > 0 && s.Voltage > ceiling {
		return nil
	}
	var out []Candidate
	add := func(changed, reason string, change func(*Settings)) {
		n := s
		change(&n)
		if len(Check(n)) > 0 {
			return
		}
		if gain := w.gain(s, n); gain > 0 {
			out = append(out, Candidate{Settings: n, Changed: changed, Gain: gain, Reason: reason})
		}
	}
	if up := NextRate(s.Standard, s.Rate); maxRate == 0 || up <= maxRate {
		add("data_rate_mts", fmt.Sprintf("Data rate from %d to %d MT/s: more bandwidth, and every timing shorter in time.", s.Rate, up),
			func(n *Settings) { n.Rate = up })
	}
	cl := 1
	if s.Standard == DDR5 {
		cl = 2 // even values only
	}
	add("cl", step("CL", s.CL, s.CL-cl, s.Rate), func(n *Settings) { n.CL -= cl })
	add("trcd", step("tRCD", s.TRCD, s.TRCD-1, s.Rate), func(n *Settings) { n.TRCD-- })
	add("trp", step("tRP", s.TRP, s.TRP-1, s.Rate), func(n *Settings) { n.TRP-- })
	add("tras", step("tRAS", s.TRAS, s.TRAS-rasStep, s.Rate), func(n *Settings) { n.TRAS -= rasStep })
	slices.SortStableFunc(out, func(a, b Candidate) int {
		switch {
		case a.Gain > b.Gain:
			return -1
		case a.Gain < b.Gain:
			return 1
		}
		return 0
	})
	return out
}

// rasStep is how many clocks tRAS falls at a time. Chosen: one clock of it is
// lost in the noise.
const rasStep = 2

func step(name string, from, to, rate int) string {
	return fmt.Sprintf("%s from %d to %d clocks: %.2f to %.2f ns.", name, from, to, Nanoseconds(from, rate), Nanoseconds(to, rate))
}

// NextRate returns the next data rate that boards offer: 133 1/3 MT/s apart for
// DDR4, 200 for DDR5 (common practice, no source).
func NextRate(std Standard, rate int) int {
	if std == DDR5 {
		return (rate/200 + 1) * 200
	}
	n := (rate*3+2)/400 + 1
	return n * 400 / 3
}

// Shares of the access model, all chosen: a random read finds its row open, its
// bank closed, or another row open; some of the last must also wait for tRAS to
// end. The path around the chips costs a fixed time.
const (
	rowOpen     = 0.40
	bankClosed  = 0.20
	rowConflict = 0.40
	waitsForRAS = 0.05
	pathNS      = 45.0
)

// gain is the predicted gain from one group to another.
func (w Workload) gain(from, to Settings) float64 {
	lat := math.Log(from.accessNS() / to.accessNS())
	band := math.Log(to.usefulBandwidth() / from.usefulBandwidth())
	return math.Expm1(w.Latency*lat + w.Bandwidth*band)
}

// accessNS is the mean time of a random read.
func (s Settings) accessNS() float64 {
	clocks := float64(s.CL) + (bankClosed+rowConflict)*float64(s.TRCD) + rowConflict*float64(s.TRP) +
		rowConflict*waitsForRAS*float64(s.TRAS)
	return pathNS + 2000*clocks/float64(s.Rate)
}

// usefulBandwidth is the peak less the time in which a bank is busy turning
// over its row. Chosen: one access in eight of a stream meets a busy bank.
func (s Settings) usefulBandwidth() float64 {
	const burstClocks, busy = 4.0, 1.0 / 8
	idle := busy * rowConflict * float64(s.TRAS+s.TRP) / 16 // sixteen banks share it
	return float64(s.Rate) * burstClocks / (burstClocks + idle)
}
