package memtiming

import (
	"fmt"

	"belay/internal/units"
)

// Settings is a group of memory settings. Timings are in clocks; zero in an
// optional field means "left to the board".
type Settings struct {
	Standard Standard
	Rate     int // MT/s
	CL       int
	TRCD     int
	TRP      int
	TRAS     int
	Voltage  units.Volt // memory voltage; 0 = not given

	// Optional.
	CWL           int // write latency
	TRC           int // row cycle
	TRRDS         int // row to row, other bank group
	TRRDL         int // row to row, same bank group
	TFAW          int // four activates
	Refresh       int // tRFC
	RefreshEvery  int // tREFI
	DensityGb     int // of one chip, Gbit
	ModuleCelsius float64
}

// Violation is a broken rule.
type Violation struct {
	Rule string // stable name
	Text string // for a person
}

// rule is one check; text is empty when it holds or cannot be judged.
type rule struct {
	name string
	text func(s Settings) string
}

// Check returns every rule that the settings break, none for a legal group.
func Check(s Settings) []Violation {
	if err := checkRate(s.Standard, s.Rate); err != nil {
		return []Violation{{"rate-range", "The data rate or the memory standard is not one that exists: enter MT/s, which is twice the clock."}}
	}
	var out []Violation
	for _, r := range rules {
		if text := r.text(s); text != "" {
			out = append(out, Violation{r.name, text})
		}
	}
	return out
}

// Primary timings in clocks that the standards' registers can hold.
// Source: JESD79-4 and JESD79-5 mode registers (from memory).
var (
	casRange = map[Standard][2]int{DDR4: {9, 32}, DDR5: {22, 66}}
	rowRange = map[Standard][2]int{DDR4: {8, 40}, DDR5: {12, 90}}
)

var rules = []rule{
	{"rate-step", func(s Settings) string {
		if onGrid(s.Rate) {
			return ""
		}
		return fmt.Sprintf("%d MT/s is not a step that a memory clock offers. Steps are 100 or 133 MT/s apart.", s.Rate)
	}},
	{"cl-range", func(s Settings) string { return outside("CL", s.CL, casRange[s.Standard]) }},
	{"cl-even", func(s Settings) string {
		if s.Standard == DDR5 && s.CL%2 != 0 {
			return fmt.Sprintf("CL %d is odd. DDR5 takes even values only.", s.CL)
		}
		return ""
	}},
	{"trcd-range", func(s Settings) string { return outside("tRCD", s.TRCD, rowRange[s.Standard]) }},
	{"trp-range", func(s Settings) string { return outside("tRP", s.TRP, rowRange[s.Standard]) }},
	{"tras-short", func(s Settings) string {
		rtp := readToPrechargeClocks(s.Standard, s.Rate)
		if s.TRAS >= s.TRCD+rtp {
			return ""
		}
		return fmt.Sprintf("tRAS %d is too short: a row must stay open for tRCD %d plus %d clocks from read to precharge.",
			s.TRAS, s.TRCD, rtp)
	}},
	{"trc-short", func(s Settings) string {
		if s.TRC == 0 || s.TRC >= s.TRAS+s.TRP {
			return ""
		}
		return fmt.Sprintf("tRC %d is shorter than tRAS %d plus tRP %d.", s.TRC, s.TRAS, s.TRP)
	}},
	{"cwl-long", func(s Settings) string {
		if s.CWL <= s.CL {
			return ""
		}
		return fmt.Sprintf("Write latency %d is longer than CL %d.", s.CWL, s.CL)
	}},
	{"trrd-order", func(s Settings) string {
		if s.TRRDS == 0 || s.TRRDL == 0 || s.TRRDL >= s.TRRDS {
			return ""
		}
		return fmt.Sprintf("tRRD_L %d is shorter than tRRD_S %d.", s.TRRDL, s.TRRDS)
	}},
	{"tfaw-short", func(s Settings) string {
		if s.TFAW == 0 || s.TFAW >= 4*s.TRRDS {
			return ""
		}
		return fmt.Sprintf("tFAW %d is shorter than four times tRRD_S %d, so it has no effect.", s.TFAW, s.TRRDS)
	}},
	{"refresh-short", refreshShort},
	{"refresh-rare", refreshRare},
	{"voltage-stress", func(s Settings) string {
		v := voltages[s.Standard]
		if s.Voltage <= v.AbsoluteMax {
			return ""
		}
		return fmt.Sprintf("%v is above the standard's absolute maximum of %v.", s.Voltage, v.AbsoluteMax)
	}},
}

func outside(name string, n int, r [2]int) string {
	if n >= r[0] && n <= r[1] {
		return ""
	}
	return fmt.Sprintf("%s %d lies outside %d to %d.", name, n, r[0], r[1])
}

// onGrid reports whether a rate is a whole multiple of 100 or of 133 1/3 MT/s,
// rounded or cut to whole MT/s.
func onGrid(rate int) bool {
	if rate%100 == 0 {
		return true
	}
	for n := (rate*3 - 3) / 400; n <= (rate*3+3)/400+1; n++ {
		exact := n * 400 // in thirds of MT/s
		if exact/3 == rate || (exact+1)/3 == rate {
			return true
		}
	}
	return false
}

func refreshShort(s Settings) string {
	ns, ok := refreshTime[s.Standard][s.DensityGb]
	if s.Refresh == 0 || !ok {
		return ""
	}
	need, err := Clocks(s.Standard, ns, s.Rate)
	if err != nil || s.Refresh >= need {
		return ""
	}
	return fmt.Sprintf("tRFC %d is below the %d clocks that chips of %d Gbit need by the standard.", s.Refresh, need, s.DensityGb)
}

func refreshRare(s Settings) string {
	if s.RefreshEvery == 0 {
		return ""
	}
	every, note := refreshInterval[s.Standard], ""
	if s.ModuleCelsius > hotRefresh {
		every /= 2
		note = " above 85 °C"
	}
	tck, err := Cycle(s.Standard, s.Rate)
	if err != nil {
		return ""
	}
	if limit := int(every * 1000 / float64(tck)); s.RefreshEvery > limit {
		return fmt.Sprintf("tREFI %d is longer than the standard's %d clocks%s. Cells may lose their charge.", s.RefreshEvery, limit, note)
	}
	return ""
}
