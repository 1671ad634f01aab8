package rigtest

import (
	"encoding/binary"
	"fmt"
	"strconv"
	"strings"

	"testing/fstest"
)

// tables writes the firmware's tables in the form of DSP0134: an entry point
// and a row of structures, each a formatted part and its strings. Lines are
//
//	firmware version=F12 date=03/14/2025
//	board maker=Orchard product=Bench-1
//	processor external=100 max=5000
//	module slot=A2 mb=16384 type=0x1a rated=3600 speed=3600 mv=1350 part=INV-1
//	empty slot=A1
//	broken
func (t Tree) tables(version, body string) error {
	var table []byte
	handle := uint16(1)
	add := func(kind byte, length int, fields map[int]any) {
		s := make([]byte, length)
		s[0], s[1] = kind, byte(length)
		binary.LittleEndian.PutUint16(s[2:], handle)
		handle++
		var strs []string
		for at, v := range fields {
			switch v := v.(type) {
			case string:
				if v != "" {
					strs = append(strs, v)
					s[at] = byte(len(strs))
				}
			case byte:
				s[at] = v
			case uint16:
				if at+2 <= length {
					binary.LittleEndian.PutUint16(s[at:], v)
				}
			case uint32:
				if at+4 <= length {
					binary.LittleEndian.PutUint32(s[at:], v)
				}
			}
		}
		table = append(table, s...)
		for _, x := range strs {
			table = append(append(table, x...), 0)
		}
		if len(strs) == 0 {
			table = append(table, 0)
		}
		table = append(table, 0)
	}
	length := 0x5C // of a memory device since version 3.3
	if strings.HasPrefix(version, "2.") {
		length = 0x22 // version 2.7: up to the configured speed
	}
	whole := true
	for line := range strings.Lines(body) {
		words := strings.Fields(line)
		if len(words) == 0 {
			continue
		}
		p := map[string]string{}
		for _, w := range words[1:] {
			k, v, _ := strings.Cut(w, "=")
			p[k] = strings.ReplaceAll(v, "_", " ")
		}
		n := func(key string) uint64 { x, _ := strconv.ParseUint(p[key], 0, 32); return x }
		switch words[0] {
		case "firmware":
			add(0, 0x18, map[int]any{0x04: "Invented Firmware", 0x05: p["version"], 0x08: p["date"]})
		case "board":
			add(2, 0x0F, map[int]any{0x04: p["maker"], 0x05: p["product"]})
		case "processor":
			add(4, 0x30, map[int]any{0x12: uint16(n("external")), 0x14: uint16(n("max")), 0x23: byte(n("cores")), 0x25: byte(n("threads"))})
		case "module", "empty":
			size, extended := n("mb"), uint64(0)
			if size >= 0x7FFF {
				size, extended = 0x7FFF, size
			}
			add(17, length, map[int]any{
				0x0C: uint16(size), 0x10: p["slot"], 0x12: byte(n("type")), 0x15: uint16(n("rated")), 0x1A: p["part"],
				0x1C: uint32(extended), 0x20: uint16(n("speed")), 0x26: uint16(n("mv")),
			})
		case "broken":
			whole = false
		default:
			return fmt.Errorf("no structure %q", words[0])
		}
	}
	add(127, 4, nil)
	if !whole {
		table = table[:len(table)/2]
	}
	entry, err := entryPoint(version, len(table))
	if err != nil {
		return err
	}
	const dir = "sys/firmware/dmi/tables/"
	t.MapFS[dir+"DMI"] = &fstest.MapFile{Data: table, Mode: 0o400}
	t.MapFS[dir+"smbios_entry_point"] = &fstest.MapFile{Data: entry, Mode: 0o400}
	return nil
}

// entryPoint writes the 64-bit entry point of version 3, or the 32-bit one of
// version 2. Source: DSP0134, section 5.2.
func entryPoint(version string, size int) ([]byte, error) {
	var major, minor byte
	if _, err := fmt.Sscanf(version, "%d.%d", &major, &minor); err != nil {
		return nil, err
	}
	var e []byte
	if major >= 3 {
		e = make([]byte, 0x18)
		copy(e, "_SM3_")
		e[6], e[7], e[8], e[10] = 0x18, major, minor, 1
		binary.LittleEndian.PutUint32(e[0x0C:], uint32(size))
		e[5] = checksum(e)
		return e, nil
	}
	e = make([]byte, 0x1F)
	copy(e, "_SM_")
	e[5], e[6], e[7] = 0x1F, major, minor
	copy(e[0x10:], "_DMI_")
	binary.LittleEndian.PutUint16(e[0x16:], uint16(size))
	e[0x15] = checksum(e[0x10:])
	e[4] = checksum(e)
	return e, nil
}

// checksum is the byte that makes the sum of all bytes zero.
func checksum(b []byte) byte {
	sum := byte(0)
	for _, x := range b {
		sum += x
	}
	return -sum
}
