package virtualrig

import (
	"math"
	"slices"

	"belay/internal/trial"
)

// timing is one group of memory settings: data rate in MT/s, clocks, volts.
type timing struct {
	rate, cl, rcd, rp, ras int
	volt                   float64
}

// ns converts clocks into nanoseconds at the data rate.
func (m timing) ns(clocks int) float64 { return float64(clocks) * 2000 / float64(m.rate) }

// kit is what the label of the memory says, and what it does without profile.
type kit struct {
	standard        string
	modules         int
	gb              float64
	rated, ordinary timing
}

// limit is the tightest value of one memory setting at the rated voltage, and
// how far it moves per volt, as a share.
type limit struct{ at, perVolt float64 }

// dram is the truth about memory.
type dram struct {
	kit            kit
	rate           limit   // MT/s, highest
	cl, rcd, rp    limit   // ns, shortest
	ras            limit   // ns, shortest
	saturates      float64 // V, beyond which voltage no longer helps
	profileIgnored bool
}

// Width and depth of every memory limit, as shares of the limit. Chosen: one
// step of the data rate (3 to 5 %) or of a timing (2 to 6 %) spans the way
// from sound to dead, as common practice has it.
const (
	memoryWidth = 0.0012 // per e-fold of errors
	memoryDead  = 0.012  // past the limit by this share: does not start
)

// resolve fills in what the person left to the firmware. A changed data rate
// without timings keeps the nanoseconds, rounded up to whole clocks.
func (m *dram) resolve(s trial.Settings) timing {
	base := m.kit.ordinary
	if s.MemoryProfile == "on" && (!m.profileIgnored || s.DataRate != 0) {
		base = m.kit.rated
	}
	t := base
	if s.DataRate != 0 && s.DataRate != base.rate {
		t.rate = s.DataRate
		up := func(clocks int) int {
			return int(math.Ceil(float64(clocks)*float64(t.rate)/float64(base.rate) - 1e-9))
		}
		t.cl, t.rcd, t.rp, t.ras = up(base.cl), up(base.rcd), up(base.rp), up(base.ras)
	}
	for _, x := range []struct {
		to   *int
		from int
	}{{&t.cl, s.CL}, {&t.rcd, s.TRCD}, {&t.rp, s.TRP}, {&t.ras, s.TRAS}} {
		if x.from != 0 {
			*x.to = x.from
		}
	}
	if s.DRAMVoltage != 0 {
		t.volt = float64(s.DRAMVoltage)
	}
	return t
}

// margins returns the distances to the limits of rate, CL, tRCD, tRP and tRAS
// as shares of them, negative past a limit.
func (m *dram) margins(t timing) [5]float64 {
	dv := min(t.volt, m.saturates) - m.kit.rated.volt
	fastest := m.rate.at * (1 + m.rate.perVolt*dv)
	beyond := func(l limit, clocks int) float64 {
		return t.ns(clocks)/(l.at*(1-l.perVolt*dv)) - 1
	}
	return [5]float64{
		fastest/float64(t.rate) - 1,
		beyond(m.cl, t.cl), beyond(m.rcd, t.rcd), beyond(m.rp, t.rp), beyond(m.ras, t.ras),
	}
}

// trains reports whether the rig starts with these memory settings. Bounds on
// rate and voltage chosen: wider than any sane setting.
func (m *dram) trains(t timing) bool {
	sane := t.rate >= 1000 && t.rate <= 20000 && t.volt >= 0.8 && t.volt <= 2.0
	if !sane || min(t.cl, t.rcd, t.rp, t.ras) <= 0 || max(t.cl, t.rcd, t.rp, t.ras) > 1000 {
		return false
	}
	margins := m.margins(t)
	return slices.Min(margins[:]) >= -memoryDead
}

// hazard returns errors per minute of a memory check.
func (m *dram) hazard(t timing) float64 {
	sum := 0.0
	for _, x := range m.margins(t) {
		sum += hazardAtNeed * math.Exp(-x/memoryWidth)
	}
	return min(sum, hazardMost)
}

// coverage returns the bytes that a memory check covers, in 1e9 bytes: two
// channels of 8 bytes, of which a check uses about a third (chosen).
func coverage(t timing, minutes float64) float64 {
	return float64(t.rate) * 16 / 1000 * 0.35 * minutes * 60
}
