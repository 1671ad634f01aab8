package stability

import "math"

// lattice is the outer grid: points of a cubic lattice of spacing h inside a
// ball of radius r, in units of standard deviations. It is turned so that no
// axis of the ball is an axis of the lattice: then the points fall on
// different values of every parameter, and a distribution seen along one of
// them is smooth. On a normal distribution the trapezoid rule with h <= 1 is
// exact to better than 1e-8 (its error falls as exp(-2 pi^2/h^2)).
type lattice struct {
	h      float64
	points [][3]float64
}

// pilot finds where the posterior lies and how wide it is; fine is the grid
// that answers. Chosen: fine leaves 0.3 % of a normal distribution outside,
// with about 360 points (365).
var (
	pilot = newLattice(1.3, 2.7)
	fine  = newLattice(0.85, 3.75)
)

func newLattice(h, r float64) lattice {
	turn := rotation(1, math.Sqrt(2), math.Sqrt(3), math.Sqrt(5))
	l := lattice{h: h}
	n := int(r / h)
	for i := -n; i <= n; i++ {
		for j := -n; j <= n; j++ {
			for k := -n; k <= n; k++ {
				p := [3]float64{float64(i) * h, float64(j) * h, float64(k) * h}
				if p[0]*p[0]+p[1]*p[1]+p[2]*p[2] > r*r {
					continue
				}
				var q [3]float64
				for a := range 3 {
					q[a] = turn[a][0]*p[0] + turn[a][1]*p[1] + turn[a][2]*p[2]
				}
				l.points = append(l.points, q)
			}
		}
	}
	return l
}

// rotation returns the rotation of the quaternion w + xi + yj + zk.
func rotation(w, x, y, z float64) [3][3]float64 {
	n := math.Sqrt(w*w + x*x + y*y + z*z)
	w, x, y, z = w/n, x/n, y/n, z/n
	return [3][3]float64{
		{1 - 2*(y*y+z*z), 2 * (x*y - z*w), 2 * (x*z + y*w)},
		{2 * (x*y + z*w), 1 - 2*(x*x+z*z), 2 * (y*z - x*w)},
		{2 * (x*z - y*w), 2 * (y*z + x*w), 1 - 2*(x*x+y*y)},
	}
}
