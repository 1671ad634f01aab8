package stability

import "math"

// The sums over the grid need exp(-y) some 10^5 times per fit. A table with a
// cubic between its points is three times as fast as math.Exp and right to
// 3e-9 of the value.
const (
	decayPerUnit = 64
	decayEnd     = 45 // beyond it exp(-y) < 3e-20 counts as 0
)

var decayTable = func() (t [decayEnd*decayPerUnit + 1]float64) {
	for i := range t {
		t[i] = math.Exp(-float64(i) / decayPerUnit)
	}
	return t
}()

// decay returns exp(-y) for y >= 0, 0 beyond decayEnd.
func decay(y float64) float64 {
	if !(y < decayEnd) {
		return 0
	}
	i := int(y * decayPerUnit)
	u := y - float64(i)/decayPerUnit
	return decayTable[i] * (1 - u*(1-u*(1.0/2-u/6)))
}
