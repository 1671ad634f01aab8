package rig

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io/fs"
	"strings"

	"github.com/siderolabs/go-smbios/smbios"

	"belay/internal/planner"
)

const (
	tableFile = "sys/firmware/dmi/tables/DMI"
	entryFile = "sys/firmware/dmi/tables/smbios_entry_point"
	tableName = "SMBIOS"
)

// Module is one memory module as the firmware describes it. Zero: not told.
type Module struct {
	Slot           string  `json:"slot"`
	SizeGB         float64 `json:"size_gb"` // 2^30 bytes, as on the module's label
	Standard       string  `json:"standard,omitempty"`
	Part           string  `json:"part,omitempty"`
	RatedMTS       int     `json:"rated_mts,omitzero"`
	ConfiguredMTS  int     `json:"configured_mts,omitzero"`
	ConfiguredVolt float64 `json:"configured_v,omitzero"`
	Source         string  `json:"source"`
}

// recordedTables decodes the tables that the kernel copies from the firmware.
func (m *Machine) recordedTables() (*smbios.SMBIOS, error) {
	body, err := m.bytes(tableFile)
	if err != nil {
		return nil, err
	}
	entry, err := m.bytes(entryFile)
	if err != nil {
		return nil, err
	}
	return smbios.Decode(bytes.NewReader(body), entryVersion(entry))
}

// entryVersion reads the version of an entry point, of the 64-bit form or of
// the 32-bit one. Source: DSP0134, section 5.2.
func entryVersion(b []byte) smbios.Version {
	switch {
	case len(b) >= 10 && bytes.HasPrefix(b, []byte("_SM3_")):
		return smbios.Version{Major: int(b[7]), Minor: int(b[8]), Revision: int(b[9])}
	case len(b) >= 8 && bytes.HasPrefix(b, []byte("_SM_")):
		return smbios.Version{Major: int(b[6]), Minor: int(b[7])}
	}
	return smbios.Version{}
}

// Types of memory. Source: DSP0134, table of Memory Device: Type.
var standards = map[byte]string{0x18: "ddr3", 0x1A: "ddr4", 0x1E: "lpddr4", 0x22: "ddr5", 0x23: "lpddr5"}

// modules lists the modules that are in a slot. Sizes and speeds beyond 16
// bits stand in fields of their own, which the library cuts off, so that they
// are taken from the structure itself. Source: DSP0134, Memory Device
// (type 17): 0Ch size, 12h type, 15h speed, 1Ch extended size, 20h configured
// speed, 26h configured voltage, 54h and 58h extended speeds.
func modules(t *smbios.SMBIOS) []Module {
	out := []Module{}
	if t == nil {
		return out
	}
	for _, s := range t.Structures {
		if s.Header.Type != 17 {
			continue
		}
		size := word(s.Formatted, 0x0C)
		gb := float64(size) / 1024
		switch {
		case size == 0 || size == 0xFFFF:
			continue
		case size == 0x7FFF:
			gb = float64(double(s.Formatted, 0x1C)&0x7FFFFFFF) / 1024
		case size&0x8000 != 0:
			gb = float64(size&0x7FFF) / (1 << 20)
		}
		text := func(offset int) string {
			i := int(octet(s.Formatted, offset))
			if i < 1 || i > len(s.Strings) {
				return ""
			}
			return printable(s.Strings[i-1])
		}
		out = append(out, Module{
			Slot: text(0x10), SizeGB: gb, Standard: standards[octet(s.Formatted, 0x12)], Part: text(0x1A),
			RatedMTS: speed(s.Formatted, 0x15, 0x54), ConfiguredMTS: speed(s.Formatted, 0x20, 0x58),
			ConfiguredVolt: float64(word(s.Formatted, 0x26)) / 1000,
			Source:         fmt.Sprintf("%s type 17, handle %#04x", tableName, s.Header.Handle),
		})
	}
	return out
}

// speed reads a speed in MT/s, from the wide field if the narrow one says so.
func speed(b []byte, narrow, wide int) int {
	if x := word(b, narrow); x != 0xFFFF {
		return int(x)
	}
	return int(double(b, wide) & 0x7FFFFFFF)
}

// octet, word and double read a field at its offset in the structure; the
// four bytes of the header are not part of b. A field behind the end is 0.
func octet(b []byte, offset int) byte {
	if offset -= 4; offset < 0 || offset >= len(b) {
		return 0
	}
	return b[offset]
}

func word(b []byte, offset int) uint16 {
	if offset -= 4; offset < 0 || offset+2 > len(b) {
		return 0
	}
	return binary.LittleEndian.Uint16(b[offset:])
}

func double(b []byte, offset int) uint32 {
	if offset -= 4; offset < 0 || offset+4 > len(b) {
		return 0
	}
	return binary.LittleEndian.Uint32(b[offset:])
}

// printable drops what could disturb a terminal or a page.
func printable(s string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7F || r == '�' {
			return -1
		}
		return r
	}, s))
}

// externalClock is the base clock: type 4, offset 12h, in MHz.
func externalClock(t *smbios.SMBIOS) Fact {
	mhz := 0.0
	if t != nil {
		for _, s := range t.Structures {
			if s.Header.Type == 4 && mhz == 0 {
				mhz = float64(word(s.Formatted, 0x12))
			}
		}
	}
	return have("base_clock_mhz", "Base clock", mhz, "MHz", tableName+" type 4", "Read it in the firmware setup, on the page with the processor clocks.")
}

func boardFacts(t *smbios.SMBIOS, err error) []Fact {
	var maker, product, version, date string
	if t != nil {
		maker, product = printable(t.BaseboardInformation.Manufacturer), printable(t.BaseboardInformation.Product)
		version, date = printable(t.BIOSInformation.Version), printable(t.BIOSInformation.ReleaseDate)
	}
	const first = "Read it on the first page of the firmware setup."
	facts := []Fact{
		have("board", "Board", strings.TrimSpace(maker+" "+product), "", tableName+" type 2", first),
		have("firmware_version", "Firmware version", version, "", tableName+" type 0", first),
		have("firmware_date", "Firmware date", date, "", tableName+" type 0", first),
	}
	for i := range facts {
		if facts[i].Value == nil && t == nil {
			facts[i].Missing = tablesMissing(err)
		}
	}
	return facts
}

// tablesMissing says why there are no tables.
func tablesMissing(err error) string {
	if err != nil && !isPathError(err) {
		return "The firmware's tables are damaged."
	}
	return "The firmware's tables: " + lowerFirst(why(err))
}

func isPathError(err error) bool { _, ok := err.(*fs.PathError); return ok || err == fs.ErrNotExist }

func lowerFirst(s string) string { return strings.ToLower(s[:1]) + s[1:] }

func memoryFacts(mods []Module, totalGB float64, err error) []Fact {
	sum := 0.0
	kinds := map[string]bool{}
	for _, m := range mods {
		sum += m.SizeGB
		kinds[m.Standard] = true
	}
	standard := ""
	if len(kinds) == 1 {
		standard = mods[0].Standard
	}
	rated, same := common(mods, func(m Module) int { return m.RatedMTS })
	configured, _ := common(mods, func(m Module) int { return m.ConfiguredMTS })
	const label = "Read it on the label of a module, or on its invoice."
	facts := []Fact{
		have("memory_standard", "Memory standard", standard, "", tableName+" type 17", label),
		have("memory_modules", "Memory modules", float64(len(mods)), "pieces", tableName+" type 17", "Count them in the firmware setup's list of memory slots."),
		have("memory_gb", "Memory in all", sum, "GB", tableName+" type 17", "Read it in the system's memory details."),
		have("kit_rate_mts", "Rated data rate, as the board reports it", float64(rated), "MT/s", tableName+" type 17", label),
		have("data_rate_mts", "Data rate now", float64(configured), "MT/s", tableName+" type 17", "Read it in the system's memory details. Double a clock shown in MHz."),
		have("memory_total_gb", "Memory that the system can use", totalGB, "GB", "proc/meminfo", "Read it in the system's memory details."),
	}
	if !same {
		facts[3].Label += ", lowest of unlike modules"
	}
	if len(mods) == 0 {
		for i := range facts[:5] {
			facts[i].Missing = tablesMissing(err)
		}
	}
	return facts
}

// common returns the least known value of the modules, and whether all have
// the same.
func common(mods []Module, of func(Module) int) (least int, same bool) {
	same = true
	for i, m := range mods {
		x := of(m)
		if i > 0 && x != of(mods[0]) {
			same = false
		}
		if x > 0 && (least == 0 || x < least) {
			least = x
		}
	}
	return least, same
}

// profileVerdict tells whether the memory profile took effect. The rated
// speed in the tables is that of the profile on some boards and that of the
// standard on others, so that a rate above the standard's own is the proof.
func profileVerdict(mods []Module, err error) Verdict {
	byHand := "Compare the data rate in the system's memory details with the module's label."
	if len(mods) == 0 {
		return Verdict{Unknown, tablesMissing(err), byHand}
	}
	rated, _ := common(mods, func(m Module) int { return m.RatedMTS })
	now, _ := common(mods, func(m Module) int { return m.ConfiguredMTS })
	top := planner.StandardRate(mods[0].Standard)
	switch {
	case now == 0:
		return Verdict{Unknown, "The firmware does not tell the data rate in use.", byHand}
	case rated > now && !planner.SameRate(rated, now):
		return Verdict{No, fmt.Sprintf("The memory runs at %d MT/s and is rated for %d MT/s.", now, rated), ""}
	case now > top && !planner.SameRate(now, top):
		return Verdict{Yes, fmt.Sprintf("The memory runs at %d MT/s, above the standard's %d MT/s.", now, top), ""}
	}
	return Verdict{Unknown, fmt.Sprintf("The memory runs at %d MT/s. The board reports no higher rated speed, and some boards leave the profile's speed out.", now), byHand}
}
