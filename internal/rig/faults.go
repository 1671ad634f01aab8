package rig

import (
	"strconv"
	"strings"
)

// faultFacts counts what the hardware has complained about since the start.
func (m *Machine) faultFacts() []Fact {
	interrupts, _ := m.text("proc/interrupts")
	core, cerr := m.sum(cpus+"/cpu[0-9]*/thermal_throttle/core_throttle_count", false)
	pkg, perr := m.sum(cpus+"/cpu[0-9]*/thermal_throttle/package_throttle_count", true)
	ce, eerr := m.sum("sys/devices/system/edac/mc/mc[0-9]*/ce_count", false)
	ue, uerr := m.sum("sys/devices/system/edac/mc/mc[0-9]*/ue_count", false)
	mce, merr := interruptCount(interrupts, "MCE")
	return []Fact{
		counted("core_throttle_count", "Slowed down by heat, per core, all cores", core, cpus+"/cpu*/thermal_throttle", cerr),
		counted("package_throttle_count", "Slowed down by heat, whole processor", pkg, cpus+"/cpu*/thermal_throttle", perr),
		counted("machine_check_count", "Machine-check exceptions", mce, "proc/interrupts, line MCE", merr),
		counted("memory_corrected_count", "Memory errors, corrected", ce, "sys/devices/system/edac/mc", eerr),
		counted("memory_uncorrected_count", "Memory errors, not corrected", ue, "sys/devices/system/edac/mc", uerr),
	}
}

// counted makes a fact of a count, where 0 is a value.
func counted(name, label string, n float64, source string, found bool) Fact {
	if !found {
		return Fact{Name: name, Label: label, Unit: "pieces", Missing: "The system does not count this.", ByHand: "Look for hardware errors in the system's own log."}
	}
	return Fact{Name: name, Label: label, Value: n, Unit: "pieces", Source: source}
}

// sum adds up the numbers in all files of a pattern, or takes the highest.
func (m *Machine) sum(pattern string, highest bool) (total float64, found bool) {
	for _, f := range m.glob(pattern) {
		x, err := m.number(f)
		if err != nil {
			continue
		}
		found = true
		if highest {
			total = max(total, x)
		} else {
			total += x
		}
	}
	return total, found
}

// interruptCount adds up the counts of all processors on one line of
// /proc/interrupts.
func interruptCount(table, name string) (float64, bool) {
	for line := range strings.Lines(table) {
		fields := strings.Fields(line)
		if len(fields) < 2 || fields[0] != name+":" {
			continue
		}
		total := 0.0
		for _, f := range fields[1:] {
			n, err := strconv.ParseFloat(f, 64)
			if err != nil {
				break // the description
			}
			total += n
		}
		return total, true
	}
	return 0, false
}

// systemFacts name this run of the operating system.
func (m *Machine) systemFacts() []Fact {
	boot, _ := m.text("proc/sys/kernel/random/boot_id")
	release, _ := m.text("proc/sys/kernel/osrelease")
	uptime := 0.0
	if s, err := m.text("proc/uptime"); err == nil {
		first, _, _ := strings.Cut(s, " ")
		uptime, _ = strconv.ParseFloat(first, 64)
	}
	return []Fact{
		have("boot_id", "Run of the system since its start", printable(boot), "", "proc/sys/kernel/random/boot_id", ""),
		have("uptime_s", "Time since the start", uptime, "s", "proc/uptime", ""),
		have("kernel", "Kernel", printable(release), "", "proc/sys/kernel/osrelease", ""),
	}
}

// memoryTotal returns the memory that the system can use, in 2^30 bytes.
func (m *Machine) memoryTotal() float64 {
	body, _ := m.text("proc/meminfo")
	for line := range strings.Lines(body) {
		if rest, ok := strings.CutPrefix(line, "MemTotal:"); ok {
			kib, err := strconv.ParseFloat(strings.TrimSuffix(strings.TrimSpace(rest), " kB"), 64)
			if err == nil {
				return float64(int(kib/(1<<20)*10+0.5)) / 10
			}
		}
	}
	return 0
}
