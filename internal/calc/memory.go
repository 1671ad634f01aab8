package calc

import (
	"fmt"

	"belay/internal/memtiming"
)

// Memory asks what memory timings mean in time, and which rules they break.
type Memory struct {
	Standard string `json:"standard" required:"" help:"Memory standard: ddr4 or ddr5."`
	Rate     int    `json:"rate" required:"" placeholder:"MT/S" help:"Data rate in MT/s, which is twice the clock in MHz."`
	CL       int    `json:"cl" name:"cl" required:"" help:"CAS latency in clocks."`
	TRCD     int    `json:"trcd" name:"trcd" required:"" help:"tRCD in clocks."`
	TRP      int    `json:"trp" name:"trp" required:"" help:"tRP in clocks."`
	TRAS     int    `json:"tras" name:"tras" required:"" help:"tRAS in clocks."`
}

// MemoryResult is the timings in time, with the broken rules.
type MemoryResult struct {
	CASNs      float64     `json:"cas_ns"`
	TRCDNs     float64     `json:"trcd_ns"`
	TRPNs      float64     `json:"trp_ns"`
	TRASNs     float64     `json:"tras_ns"`
	TRCCk      int         `json:"trc_ck"`
	PeakGBs    float64     `json:"peak_gb_s_per_channel"`
	Violations []Violation `json:"violations"`
	Warnings   []string    `json:"warnings"`
}

// Violation is one broken rule, by its stable name and in words.
type Violation struct {
	Rule string `json:"rule"`
	Text string `json:"text"`
}

// mostClocks bounds a timing. Chosen: above any register of the standards.
const mostClocks = 1000

// rates are the data rates that the model takes, in MT/s.
var rates = map[string][2]float64{"ddr4": {1600, 6000}, "ddr5": {3200, 12000}}

// Calculate returns a MemoryResult.
func (m Memory) Calculate() (Result, error) {
	var c checks
	c.rate(m.Standard, m.Rate)
	for _, t := range []struct {
		key string
		n   int
	}{{"cl", m.CL}, {"trcd", m.TRCD}, {"trp", m.TRP}, {"tras", m.TRAS}} {
		c.within(t.key, "clk", float64(t.n), 1, mostClocks)
	}
	if err := c.fault(); err != nil {
		return nil, err
	}
	r := MemoryResult{
		CASNs: memtiming.Nanoseconds(m.CL, m.Rate), TRCDNs: memtiming.Nanoseconds(m.TRCD, m.Rate),
		TRPNs: memtiming.Nanoseconds(m.TRP, m.Rate), TRASNs: memtiming.Nanoseconds(m.TRAS, m.Rate),
		TRCCk: m.TRAS + m.TRP, PeakGBs: memtiming.PeakBandwidth(m.Rate, 1),
		Violations: []Violation{}, Warnings: []string{},
	}
	for _, v := range memtiming.Check(memtiming.Settings{
		Standard: memtiming.Standard(m.Standard), Rate: m.Rate, CL: m.CL, TRCD: m.TRCD, TRP: m.TRP, TRAS: m.TRAS,
	}) {
		r.Violations = append(r.Violations, Violation{v.Rule, v.Text})
	}
	return r, nil
}

// rate checks the standard and the data rate.
func (c *checks) rate(standard string, rate int) {
	span, ok := rates[standard]
	if !ok {
		c.refuse("standard", "The memory standard %q is not known. Use ddr4 or ddr5.", standard)
		return
	}
	c.within("rate", "MT/s", float64(rate), span[0], span[1])
}

// Sentences tells the times and the broken rules.
func (r MemoryResult) Sentences() []string {
	out := []string{
		fmt.Sprintf("CL takes %.2f ns, tRCD %.2f ns, tRP %.2f ns, tRAS %.2f ns.", r.CASNs, r.TRCDNs, r.TRPNs, r.TRASNs),
		fmt.Sprintf("A row cycle takes at least %d clocks. The peak is %.1f GB/s for each channel.", r.TRCCk, r.PeakGBs),
	}
	for _, v := range r.Violations {
		out = append(out, "Not legal: "+v.Text)
	}
	if len(r.Violations) == 0 {
		out = append(out, "These timings break no rule of the standard.")
	}
	return append(out, r.Warnings...)
}

// Clocks asks how many whole clocks a minimum time takes.
type Clocks struct {
	Standard string  `json:"standard" required:"" help:"Memory standard: ddr4 or ddr5."`
	Ns       float64 `json:"ns" required:"" help:"Minimum time in ns."`
	Rate     int     `json:"rate" required:"" placeholder:"MT/S" help:"Data rate in MT/s, which is twice the clock in MHz."`
}

// ClocksResult is the number of clocks by the standard's rounding rule.
type ClocksResult struct {
	NCK      int      `json:"nck"`
	Warnings []string `json:"warnings"`

	in Clocks
}

// Calculate returns a ClocksResult.
func (k Clocks) Calculate() (Result, error) {
	var c checks
	c.rate(k.Standard, k.Rate)
	c.within("ns", "ns", k.Ns, 0, 1e6)
	if err := c.fault(); err != nil {
		return nil, err
	}
	n, err := memtiming.Clocks(memtiming.Standard(k.Standard), k.Ns, k.Rate)
	if err != nil {
		return nil, err
	}
	r := ClocksResult{NCK: n, Warnings: []string{}, in: k}
	if k.Standard == "ddr5" && n%2 == 1 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("CL on DDR5 must be even. If this is a CL, take %d.", n+1))
	}
	return r, nil
}

// Sentences tells the clocks.
func (r ClocksResult) Sentences() []string {
	return append([]string{fmt.Sprintf("%s ns take %d clocks at %d MT/s.", amount("", r.in.Ns), r.NCK, r.in.Rate)}, r.Warnings...)
}
