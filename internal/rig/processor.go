package rig

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"github.com/klauspost/cpuid/v2"
	"github.com/siderolabs/go-smbios/smbios"
)

// processor is what the kernel, or the processor itself, tells of it.
type processor struct {
	name, nameFrom    string
	threads           int
	cores             int
	coresFrom         string
	kinds             []string // of a processor with more than one kind of core: "8 of kind cpu_core"
	caches            []string
	vectors           []string
	virtual           bool
	flagsFrom         string
	baseMHz, maxMHz   float64
	baseFrom, maxFrom string
	cachesFrom        string
}

const cpus = "sys/devices/system/cpu"

// vectorFlags are the vector extensions that matter here, by the kernel's
// names, narrow to wide.
var vectorFlags = []string{"sse2", "sse4_2", "avx", "avx2", "fma", "avx_vnni", "avx512f", "avx512dq", "avx512bw", "avx512vl", "avx512_vnni", "avx512_bf16", "avx512_fp16", "amx_tile"}

func (m *Machine) readProcessor() processor {
	var p processor
	m.readCPUInfo(&p)
	m.readTopology(&p)
	m.readCaches(&p)
	m.readClocks(&p)
	if m.cpuid {
		p.ask()
	}
	return p
}

// readCPUInfo takes name, flags and a count of cores from /proc/cpuinfo.
func (m *Machine) readCPUInfo(p *processor) {
	const file = "proc/cpuinfo"
	body, err := m.text(file)
	if err != nil {
		return
	}
	cores := map[string]bool{}
	var pkg string
	for line := range strings.Lines(body) {
		key, value, ok := strings.Cut(line, ":")
		key, value = strings.TrimSpace(key), strings.TrimSpace(value)
		if !ok {
			continue
		}
		switch key {
		case "processor":
			p.threads++
		case "model name":
			p.name, p.nameFrom = value, file
		case "physical id":
			pkg = value
		case "core id":
			cores[pkg+"/"+value] = true
		case "flags":
			if p.flagsFrom != "" {
				continue
			}
			flags := strings.Fields(value)
			p.flagsFrom, p.virtual = file, slices.Contains(flags, "hypervisor")
			for _, f := range vectorFlags {
				if slices.Contains(flags, f) {
					p.vectors = append(p.vectors, f)
				}
			}
		}
	}
	if len(cores) > 0 {
		p.cores, p.coresFrom = len(cores), file
	}
}

// readTopology counts cores: processors that share package and core id are
// threads of one.
func (m *Machine) readTopology(p *processor) {
	cores := map[string]bool{}
	threads := 0
	for _, id := range m.glob(cpus + "/cpu[0-9]*/topology/core_id") {
		core, err := m.text(id)
		if err != nil {
			continue
		}
		pkg, _ := m.text(path.Join(path.Dir(id), "physical_package_id"))
		die, _ := m.text(path.Join(path.Dir(id), "die_id"))
		cores[pkg+"/"+die+"/"+core] = true
		threads++
	}
	if len(cores) > 0 {
		p.cores, p.threads, p.coresFrom = len(cores), threads, cpus+"/cpu*/topology"
	}
	for _, kind := range []string{"cpu_core", "cpu_atom", "cpu_lowpower"} {
		if list, err := m.text("sys/devices/" + kind + "/cpus"); err == nil && list != "" {
			ids := map[string]bool{}
			for _, n := range cpuList(list) {
				dir := fmt.Sprintf("%s/cpu%d/topology/", cpus, n)
				core, err := m.text(dir + "core_id")
				if err != nil {
					core = fmt.Sprint("cpu", n)
				}
				pkg, _ := m.text(dir + "physical_package_id")
				ids[pkg+"/"+core] = true
			}
			p.kinds = append(p.kinds, fmt.Sprintf("%d of kind %s", len(ids), kind))
		}
	}
}

// readCaches lists each kind of cache with how many there are.
func (m *Machine) readCaches(p *processor) {
	seen := map[string]int{}
	var order []string
	had := map[string]bool{}
	for _, level := range m.glob(cpus + "/cpu[0-9]*/cache/index[0-9]*/level") {
		dir := path.Dir(level)
		l, _ := m.text(level)
		kind, _ := m.text(dir + "/type")
		size, err := m.text(dir + "/size")
		if err != nil || size == "" {
			continue
		}
		shared, err := m.text(dir + "/shared_cpu_list")
		if err != nil {
			shared = path.Dir(path.Dir(dir))
		}
		name := "L" + l + map[string]string{"Data": " data", "Instruction": " instruction"}[kind] + " " + strings.TrimSuffix(size, "K") + " KiB"
		if had[name+shared] {
			continue
		}
		had[name+shared] = true
		if seen[name] == 0 {
			order = append(order, name)
		}
		seen[name]++
	}
	slices.Sort(order)
	for _, name := range order {
		p.caches = append(p.caches, fmt.Sprintf("%d × %s", seen[name], name))
	}
	if len(order) > 0 {
		p.cachesFrom = cpus + "/cpu*/cache"
	}
}

// readClocks finds the clock without boost and the highest one.
func (m *Machine) readClocks(p *processor) {
	for _, f := range m.glob(cpus + "/cpu[0-9]*/cpufreq/cpuinfo_max_freq") {
		if khz, err := m.number(f); err == nil && khz/1000 > p.maxMHz {
			p.maxMHz, p.maxFrom = khz/1000, f
		}
	}
	for _, f := range m.glob(cpus + "/cpu[0-9]*/cpufreq/base_frequency") {
		if khz, err := m.number(f); err == nil && khz/1000 > p.baseMHz {
			p.baseMHz, p.baseFrom = khz/1000, f
		}
	}
	if p.baseMHz > 0 {
		return
	}
	for _, f := range m.glob(cpus + "/cpu[0-9]*/acpi_cppc/nominal_freq") {
		if mhz, err := m.number(f); err == nil && mhz > p.baseMHz {
			p.baseMHz, p.baseFrom = mhz, f
		}
	}
}

// ask fills what the files left open from the processor's own instruction.
func (p *processor) ask() {
	const from = "the processor itself (CPUID)"
	c := cpuid.CPU
	if p.name == "" && c.BrandName != "" {
		p.name, p.nameFrom = c.BrandName, from
	}
	if p.cores == 0 && c.PhysicalCores > 0 {
		p.cores, p.threads, p.coresFrom = c.PhysicalCores, c.LogicalCores, from
	}
	if p.baseMHz == 0 && c.Hz > 0 {
		p.baseMHz, p.baseFrom = float64(c.Hz)/1e6, from
	}
	if p.maxMHz == 0 && c.BoostFreq > 0 {
		p.maxMHz, p.maxFrom = float64(c.BoostFreq)/1e6, from
	}
	if p.flagsFrom == "" {
		p.flagsFrom, p.virtual = from, c.Has(cpuid.HYPERVISOR)
		for _, f := range []struct {
			name string
			id   cpuid.FeatureID
		}{{"sse2", cpuid.SSE2}, {"sse4_2", cpuid.SSE42}, {"avx", cpuid.AVX}, {"avx2", cpuid.AVX2}, {"fma", cpuid.FMA3}, {"avx512f", cpuid.AVX512F}} {
			if c.Has(f.id) {
				p.vectors = append(p.vectors, f.name)
			}
		}
	}
	if p.cachesFrom == "" {
		for _, x := range []struct {
			name string
			size int
		}{{"L1 data", c.Cache.L1D}, {"L2", c.Cache.L2}, {"L3", c.Cache.L3}} {
			if x.size > 0 {
				p.caches, p.cachesFrom = append(p.caches, fmt.Sprintf("%s %d KiB", x.name, x.size/1024)), from
			}
		}
	}
}

// widest is the width of the widest vectors in bits.
func (p processor) widest() float64 {
	switch {
	case slices.Contains(p.vectors, "avx512f"):
		return 512
	case slices.Contains(p.vectors, "avx2"), slices.Contains(p.vectors, "avx"):
		return 256
	}
	return 128
}

func (p processor) facts(tables *smbios.SMBIOS) []Fact {
	out := []Fact{
		have("processor", "Processor", p.name, "", p.nameFrom, "Read it in the firmware setup, on the first page."),
		have("core_count", "Cores", float64(p.cores), "pieces", p.coresFrom, "Read the number of cores in the system's processor details."),
		have("thread_count", "Threads", float64(p.threads), "pieces", p.coresFrom, "Read the number of threads in the system's processor details."),
		have("caches", "Caches", p.caches, "", p.cachesFrom, "Look into the processor's data sheet."),
		have("base_frequency_mhz", "Clock without boost", p.baseMHz, "MHz", p.baseFrom, "Look into the processor's data sheet."),
		have("max_frequency_mhz", "Highest clock of one core", p.maxMHz, "MHz", p.maxFrom, "Look into the processor's data sheet."),
		have("vector_extensions", "Vector extensions", p.vectors, "", p.flagsFrom, "Look into the processor's data sheet."),
	}
	if len(p.kinds) > 1 {
		out = append(out, have("core_kinds", "Kinds of cores", p.kinds, "", "sys/devices/cpu_*/cpus", ""))
	}
	if p.flagsFrom != "" {
		out = append(out, have("vector_width", "Widest vectors", p.widest(), "bits", p.flagsFrom, ""))
	}
	if p.virtual {
		out = append(out, have("virtual", "Runs in", "a virtual machine", "", p.flagsFrom, ""))
	}
	return append(out, externalClock(tables))
}

// have makes a fact: read if value is not its type's zero, missing otherwise.
func have(name, label string, value any, unit, source, byHand string) Fact {
	f := Fact{Name: name, Label: label, Unit: unit, Source: source}
	empty := false
	switch v := value.(type) {
	case string:
		empty = v == ""
	case float64:
		empty = v == 0
	case []string:
		empty = len(v) == 0
	}
	if !empty {
		f.Value = value
		return f
	}
	f.Source, f.Missing, f.ByHand = "", "The system does not tell it.", byHand
	return f
}
