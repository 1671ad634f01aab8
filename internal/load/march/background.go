package march

// Backgrounds returns the seven backgrounds for words of 64 bits that show
// every pair of bits once equal and once different: all bits equal, then
// stripes whose width doubles. With them a march test finds couplings within
// a word as it finds those between words. The complements come with the test
// itself, as its ones.
//
// log2(width)+1 backgrounds are the fewest that do it: two bits are told apart
// only where their values over the backgrounds differ.
// Source: van de Goor and Tlili, "March tests for word-oriented memories",
// DATE 1998 (from memory); checked by simulation in the tests.
func Backgrounds() []uint64 {
	return []uint64{
		0x0000000000000000,
		0x5555555555555555,
		0x3333333333333333,
		0x0f0f0f0f0f0f0f0f,
		0x00ff00ff00ff00ff,
		0x0000ffff0000ffff,
		0x00000000ffffffff,
	}
}
