package march

// machine is a memory of words with one fault. An operation acts on all bits
// of a word at once.
type machine struct {
	fault Fault
	words []uint64
}

func newMachine(f Fault, start []uint64) *machine {
	m := &machine{fault: f, words: append([]uint64(nil), start...)}
	m.settle()
	return m
}

func (m *machine) bit(c Cell) bool { return m.words[c.Word]>>c.Bit&1 == 1 }

// reached returns the words that an address reaches.
func (m *machine) reached(address int) []int {
	if d := m.fault.decoder; d.wrong && d.address == address {
		return d.words
	}
	return []int{address}
}

func (m *machine) write(address int, value uint64) {
	f := m.fault
	before := m.bit(f.at)
	acts := f.when == onWrite && f.at.Word == address && before == f.from && value>>f.at.Bit&1 == 1 == f.to && m.open()
	for _, w := range m.reached(address) {
		m.words[w] = value
	}
	if acts {
		m.act()
	}
	m.settle()
}

func (m *machine) read(address int) uint64 {
	value := m.sense(address)
	f := m.fault
	if f.when == onRead && f.at.Word == address && m.bit(f.at) == f.from && m.open() {
		m.act()
		one := uint64(1) << f.Victim.Bit
		switch f.answer {
		case asAfter:
			value = value&^one | m.words[f.Victim.Word]&one
		case inverted:
			value ^= one
		}
	}
	m.settle()
	return value
}

// sense returns what the reached words put on the lines.
func (m *machine) sense(address int) uint64 {
	words := m.reached(address)
	j := m.fault.decoder.join
	switch len(words) {
	case 0:
		if j == floatsHigh {
			return ^uint64(0)
		}
		return 0
	case 1:
		return m.words[words[0]]
	}
	switch own, other := m.words[words[0]], m.words[words[1]]; j {
	case wiredAnd:
		return own & other
	case wiredOr:
		return own | other
	default:
		return own
	}
}

// open reports whether the state of the aggressor lets the fault act.
func (m *machine) open() bool { return !m.fault.guarded || m.bit(m.fault.Aggressor) == m.fault.guard }

// act does to the victim what the fault does.
func (m *machine) act() {
	v := m.fault.Victim
	one := uint64(1) << v.Bit
	switch m.fault.effect {
	case invert:
		m.words[v.Word] ^= one
	case setZero:
		m.words[v.Word] &^= one
	case setOne:
		m.words[v.Word] |= one
	}
}

// settle lets a fault act that is a state and no operation.
func (m *machine) settle() {
	if m.fault.when == always && m.open() {
		m.act()
	}
}

// Detects reports whether the test finds the fault in a memory of words for
// certain: from each of the start contents, whichever way the elements of any
// order go. background holds what stands for 0 in each word; its length is
// that of the memory.
func (t Test) Detects(f Fault, background []uint64, starts [][]uint64) bool {
	for _, start := range starts {
		for ways := range 1 << len(t) {
			if t.allows(ways) && !t.run(newMachine(f, start), background, ways) {
				return false
			}
		}
	}
	return true
}

// allows reports whether ways turns only elements that may be turned: bit i
// says that element i of any order goes down.
func (t Test) allows(ways int) bool {
	for i, e := range t {
		if ways>>i&1 == 1 && e.Order != Any {
			return false
		}
	}
	return true
}

// run reports whether a read differs from what it expects.
func (t Test) run(m *machine, background []uint64, ways int) bool {
	for i, e := range t {
		down := e.Order == Down || ways>>i&1 == 1
		for k := range m.words {
			address := k
			if down {
				address = len(m.words) - 1 - k
			}
			for _, o := range e.Ops {
				value := background[address]
				if o.One {
					value = ^value
				}
				if !o.Read {
					m.write(address, value)
				} else if m.read(address) != value {
					return true
				}
			}
		}
	}
	return false
}
