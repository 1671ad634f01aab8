// Package rig reads what a PC is and what its sensors say: the processor, the
// firmware's own tables (SMBIOS), and the kernel's files about sensors,
// limits and faults. It reads any root folder, so that a copied tree of
// another PC serves as well as this one, and it changes nothing.
//
// Layout of the files: the kernel's documentation of sysfs (ABI/testing,
// hwmon, powercap, EDAC) and proc(5). Tables: DSP0134, System Management
// BIOS, read through a library.
package rig

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/siderolabs/go-smbios/smbios"

	"belay/internal/fault"
)

// Fact is one thing about the PC: either read, with where it came from, or
// missing, with the reason and how to enter it by hand.
type Fact struct {
	Name    string `json:"name"`
	Label   string `json:"label"`
	Value   any    `json:"value"` // float64, string or []string; nil when it is missing
	Unit    string `json:"unit,omitempty"`
	Source  string `json:"source,omitempty"`
	Missing string `json:"missing,omitempty"`
	ByHand  string `json:"by_hand,omitempty"`
}

// Verdict answers one question about the PC.
type Verdict struct {
	Answer  string `json:"answer"` // yes, no or unknown
	Because string `json:"because"`
	ByHand  string `json:"by_hand,omitempty"`
}

// Answers of a Verdict.
const (
	Yes     = "yes"
	No      = "no"
	Unknown = "unknown"
)

// Report is all that could be read, in the order in which a person would ask.
type Report struct {
	Processor []Fact    `json:"processor"`
	Memory    []Fact    `json:"memory"`
	Modules   []Module  `json:"modules"`
	Board     []Fact    `json:"board"`
	Limits    []Fact    `json:"limits"`
	Faults    []Fact    `json:"faults"`
	System    []Fact    `json:"system"`
	Sensors   []Channel `json:"sensors"`
	Cap       Verdict   `json:"sustained_cap"`
	Profile   Verdict   `json:"memory_profile"`
}

// Machine is a PC that can be read.
type Machine struct {
	files  fs.FS                          // rooted at the PC's root folder
	tables func() (*smbios.SMBIOS, error) // the firmware's tables
	cpuid  bool                           // the processor itself may be asked
}

// At returns the PC whose files lie below root. It returns a NotFound fault
// if there is no such folder.
func At(root string) (*Machine, error) {
	dir, err := os.OpenRoot(filepath.Clean(root))
	if err != nil {
		return nil, fault.Newf(fault.NotFound, "Name a folder that holds sys and proc of a PC.", "This folder cannot be read: %s", root).Because(err)
	}
	return Over(dir.FS()), nil
}

// Over returns the PC whose files are those of tree.
func Over(tree fs.FS) *Machine {
	m := &Machine{files: tree}
	m.tables = m.recordedTables
	return m
}

// Read reads everything that can be read. What cannot is in the report too.
func (m *Machine) Read() Report {
	tables, terr := m.tables()
	c := m.readProcessor()
	r := Report{
		Processor: c.facts(tables), Board: boardFacts(tables, terr), Modules: modules(tables),
		Faults: m.faultFacts(), System: m.systemFacts(), Sensors: m.Sensors().Channels(),
	}
	limits := m.readLimits()
	r.Limits = limits.facts()
	r.Memory = memoryFacts(r.Modules, m.memoryTotal(), terr)
	r.Cap = limits.verdict()
	r.Profile = profileVerdict(r.Modules, terr)
	return r
}

// Facts returns all facts in order.
func (r Report) Facts() []Fact {
	var all []Fact
	for _, part := range [][]Fact{r.Processor, r.Memory, r.Board, r.Limits, r.Faults, r.System} {
		all = append(all, part...)
	}
	return all
}

// find returns the fact with this name, if it was read.
func (r Report) find(name string) (Fact, bool) {
	for _, f := range r.Facts() {
		if f.Name == name && f.Value != nil {
			return f, true
		}
	}
	return Fact{}, false
}

// largest bounds what is read of one file, in bytes. Chosen: /proc/cpuinfo of
// a machine with hundreds of processors is a few hundred kilobytes.
const largest = 1 << 20

// text reads a small file without the blanks around it.
func (m *Machine) text(path string) (string, error) {
	body, err := m.bytes(path)
	return strings.TrimSpace(string(body)), err
}

func (m *Machine) bytes(path string) ([]byte, error) {
	if m.files == nil {
		return nil, fs.ErrNotExist
	}
	file, err := m.files.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	return io.ReadAll(io.LimitReader(file, largest))
}

// number reads a file that holds one number.
func (m *Machine) number(path string) (float64, error) {
	s, err := m.text(path)
	if err != nil {
		return 0, err
	}
	return strconv.ParseFloat(s, 64)
}

// glob lists paths in the order of the numbers in them.
func (m *Machine) glob(pattern string) []string {
	if m.files == nil {
		return nil
	}
	paths, err := fs.Glob(m.files, pattern)
	if err != nil {
		return nil
	}
	return inOrder(paths)
}

// why says in a sentence why a file gave nothing.
func why(err error) string {
	switch {
	case errors.Is(err, fs.ErrPermission):
		return "The system lets only its administrator read this."
	case err == nil || errors.Is(err, fs.ErrNotExist):
		return "The system has no file for this."
	}
	return "The file for this holds no value."
}
