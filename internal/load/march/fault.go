package march

// Class names a kind of memory fault.
type Class string

// The classes. Names and definitions follow van de Goor 1993 and, for the
// static faults that reads and writes without a change bring about, Hamdioui,
// van de Goor and Rodgers, MTDT 2002.
const (
	StuckAt                  Class = "stuck-at"
	AddressDecoder           Class = "address decoder"
	Transition               Class = "transition"                 // cannot go from one value to the other
	CouplingInversion        Class = "coupling inversion"         // a change of the aggressor inverts the victim
	CouplingIdempotent       Class = "coupling idempotent"        // a change of the aggressor sets the victim
	CouplingState            Class = "coupling state"             // a state of the aggressor holds the victim
	ReadDestructive          Class = "read destructive"           // a read inverts the cell and returns the new value
	DeceptiveRead            Class = "deceptive read destructive" // a read inverts the cell and returns the old value
	WriteDisturb             Class = "write disturb"              // writing the value it has inverts the cell
	IncorrectRead            Class = "incorrect read"             // a read returns the wrong value, the cell is right
	CouplingTransition       Class = "coupling transition"        // Transition while the aggressor has a state
	CouplingWriteDisturb     Class = "coupling write disturb"     // WriteDisturb while the aggressor has a state
	CouplingDeceptiveRead    Class = "coupling deceptive read"    // DeceptiveRead while the aggressor has a state
	CouplingDisturbedByRead  Class = "coupling disturb by read"   // a read of the aggressor sets the victim
	CouplingDisturbedByWrite Class = "coupling disturb by same-value write"
)

// Classes returns all classes.
func Classes() []Class {
	return []Class{
		StuckAt, AddressDecoder, Transition, CouplingInversion, CouplingIdempotent, CouplingState,
		ReadDestructive, DeceptiveRead, WriteDisturb, IncorrectRead, CouplingTransition, CouplingWriteDisturb,
		CouplingDeceptiveRead, CouplingDisturbedByRead, CouplingDisturbedByWrite,
	}
}

// Cell is one bit of a memory.
type Cell struct{ Word, Bit int }

// Fault is one faulty behaviour of a memory. Enumerate makes them.
type Fault struct {
	Class     Class
	Victim    Cell
	Aggressor Cell // of the couplings

	when     trigger
	at       Cell // whose operation brings it about
	from, to bool // value before the operation, and value written
	guarded  bool // only while the aggressor has the state guard
	guard    bool
	effect   effect
	answer   answer

	decoder decoder
}

type trigger byte

const (
	always trigger = iota // a state, not an operation
	onWrite
	onRead
)

// effect is what happens to the victim after the operation.
type effect byte

const (
	nothing effect = iota
	invert
	setZero
	setOne
)

func set(one bool) effect {
	if one {
		return setOne
	}
	return setZero
}

// answer is what a read of the victim returns.
type answer byte

const (
	asBefore answer = iota // what the cell held
	asAfter                // what the effect left
	inverted
)

// decoder is a wrong way from an address to cells.
type decoder struct {
	wrong   bool
	address int
	words   []int // that the address reaches instead of its own
	join    join
}

// join is what a read returns that reaches no cell or several.
type join byte

const (
	floatsLow join = iota
	floatsHigh
	wiredAnd
	wiredOr
	ownWins
)

// Enumerate returns every fault of a class among the cells. Couplings take
// each ordered pair of cells; faults of the decoder take each address of
// words, which reaches no word, another one, or another one too.
func Enumerate(c Class, cells []Cell) []Fault {
	var out []Fault
	if c == AddressDecoder {
		return decoders(cells)
	}
	for _, victim := range cells {
		for _, a := range bools {
			out = append(out, single(c, victim, a)...)
		}
		for _, aggressor := range cells {
			if aggressor == victim {
				continue
			}
			for _, a := range bools {
				for _, b := range bools {
					out = append(out, coupled(c, aggressor, victim, a, b)...)
				}
			}
		}
	}
	return out
}

var bools = []bool{false, true}

// single returns the fault of a class that needs no aggressor.
func single(c Class, v Cell, a bool) []Fault {
	f := Fault{Class: c, Victim: v, at: v}
	switch c {
	case StuckAt:
		f.when, f.effect = always, set(a)
	case Transition:
		f.when, f.from, f.to, f.effect = onWrite, !a, a, invert
	case WriteDisturb:
		f.when, f.from, f.to, f.effect = onWrite, a, a, invert
	case ReadDestructive:
		f.when, f.from, f.effect, f.answer = onRead, a, invert, asAfter
	case DeceptiveRead:
		f.when, f.from, f.effect = onRead, a, invert
	case IncorrectRead:
		f.when, f.from, f.answer = onRead, a, inverted
	default:
		return nil
	}
	return []Fault{f}
}

// coupled returns the fault of a class with an aggressor: a is the aggressor's
// value, b the victim's. An inversion has no b.
func coupled(c Class, aggressor, victim Cell, a, b bool) []Fault {
	f := Fault{Class: c, Victim: victim, Aggressor: aggressor, at: aggressor}
	switch c {
	case CouplingInversion:
		if b {
			return nil
		}
		f.when, f.from, f.to, f.effect = onWrite, !a, a, invert
	case CouplingIdempotent:
		f.when, f.from, f.to, f.effect = onWrite, !a, a, set(b)
	case CouplingState:
		f.when, f.guarded, f.guard, f.effect = always, true, a, set(b)
	case CouplingDisturbedByRead:
		f.when, f.from, f.effect = onRead, a, set(b)
	case CouplingDisturbedByWrite:
		f.when, f.from, f.to, f.effect = onWrite, a, a, set(b)
	case CouplingTransition, CouplingWriteDisturb, CouplingDeceptiveRead:
		alone := map[Class]Class{
			CouplingTransition: Transition, CouplingWriteDisturb: WriteDisturb, CouplingDeceptiveRead: DeceptiveRead,
		}[c]
		f = single(alone, victim, b)[0]
		f.Class, f.Aggressor, f.guarded, f.guard = c, aggressor, true, a
	default:
		return nil
	}
	return []Fault{f}
}

// decoders returns the faults of the address decoder: of n addresses, each
// reaches no word and reads low or high, or another word instead of its own,
// or both, read as their AND, their OR or its own.
func decoders(cells []Cell) []Fault {
	var addresses []int
	for _, c := range cells {
		if c.Bit == 0 {
			addresses = append(addresses, c.Word)
		}
	}
	var out []Fault
	add := func(address int, j join, words ...int) {
		out = append(out, Fault{
			Class: AddressDecoder, Victim: Cell{Word: address},
			decoder: decoder{wrong: true, address: address, words: words, join: j},
		})
	}
	for _, a := range addresses {
		add(a, floatsLow)
		add(a, floatsHigh)
		for _, b := range addresses {
			if a == b {
				continue
			}
			add(a, ownWins, b)
			for _, j := range []join{wiredAnd, wiredOr, ownWins} {
				add(a, j, a, b)
			}
		}
	}
	return out
}
