package memory

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/load/march"
)

// published writes the sweeps over one background as march elements.
func published(phases []phase) string {
	var out []string
	for _, p := range phases {
		e := march.Element{Order: []march.Order{march.Up, march.Down, march.Any}[p.order]}
		if p.read {
			e.Ops = append(e.Ops, march.Op{Read: true, One: p.readOne})
		}
		if p.write {
			e.Ops = append(e.Ops, march.Op{One: p.writeOne})
		}
		out = append(out, march.Test{e}.String())
	}
	return strings.Join(out, " ")
}

func TestPlan(t *testing.T) {
	by := map[string][]phase{}
	var order []string
	for _, p := range plan() {
		if by[p.background.name] == nil {
			order = append(order, p.background.name)
		}
		by[p.background.name] = append(by[p.background.name], p)
	}
	require.Equal(t, []string{
		"0000000000000000", "5555555555555555", "3333333333333333", "0f0f0f0f0f0f0f0f", "00ff00ff00ff00ff",
		"0000ffff0000ffff", "00000000ffffffff", "address", "random", "scattered",
	}, order)
	for _, name := range order[:9] {
		// March C- (van de Goor 1993) with its two "any order" resolved.
		require.Equal(t, "U(w0) U(r0,w1) U(r1,w0) D(r0,w1) D(r1,w0) D(r0)", published(by[name]), name)
	}
	require.Equal(t, scatteredMarch, published(by["scattered"]))
}

// Hashed backgrounds give every word of the area its own value for the
// pass: no two lines alike, fresh when they should be, fixed when not.
func TestDraws(t *testing.T) {
	c := open(t, 2, 0)
	a, b := c.Worker(0), c.Worker(1)
	address, random := background{name: "address", hashed: true, fixed: true}, background{name: "random", hashed: true}
	require.Equal(t, a.draw(address).words, b.draw(address).words)
	require.Equal(t, uint64(a.lines), b.draw(address).salt-a.draw(address).salt, "lines count on through the area")
	first := a.draw(random)
	require.NotEqual(t, a.draw(address).words, first.words)
	fixed := a.draw(address)
	a.pass++
	require.NotEqual(t, first, a.draw(random))
	require.Equal(t, fixed, a.draw(address))
}

func TestScatteredOrderVisitsEachLineOnce(t *testing.T) {
	for bits := 2; bits <= 14; bits++ {
		for seed := range uint64(20) {
			d := drawn{add: mix(seed)}
			for i := range d.multiply {
				d.multiply[i] = mix(seed+uint64(i)) | 1
			}
			seen := make([]bool, 1<<bits)
			for k := range uint64(1 << bits) {
				n := d.scatter(k, bits)
				require.False(t, seen[n])
				seen[n] = true
			}
		}
	}
}
