package stats

// Minimum returns the place, to within tolerance, of the minimum of a function
// with one valley between low and high, by golden-section search (Kiefer,
// Proc. Am. Math. Soc. 4 (1953) 502). With more than one valley it finds one of
// them.
func Minimum(f func(float64) float64, low, high, tolerance float64) float64 {
	const ratio = 0.6180339887498949
	a, b := high-ratio*(high-low), low+ratio*(high-low)
	fa, fb := f(a), f(b)
	for high-low > tolerance {
		if fa < fb {
			high, b, fb = b, a, fa
			a = high - ratio*(high-low)
			fa = f(a)
		} else {
			low, a, fa = a, b, fb
			b = low + ratio*(high-low)
			fb = f(b)
		}
	}
	return (low + high) / 2
}
