package stability

import "math"

// combine joins the classes' evidence: like of the scalar class becomes its
// mass per cell, scaled so that the whole posterior has mass 1.
func (p *Posterior) combine() {
	base := &p.classes[0]
	n := len(p.nodes)
	logs := make([]float64, n)
	for c := 1; c < len(p.classes); c++ {
		k := &p.classes[c]
		if !k.evidence {
			continue
		}
		k.message = grow(k.message, n*cells)
		for j := range n {
			k.offset.gather(k.message[j*cells:(j+1)*cells], k.like[j*cells:(j+1)*cells])
		}
	}
	top := math.Inf(-1)
	for j := range p.nodes {
		sum := 0.0
		row := base.like[j*cells : (j+1)*cells]
		for i := range row {
			row[i] *= base.axis.width(i)
			w := row[i]
			for c := 1; c < len(p.classes); c++ {
				if k := &p.classes[c]; k.evidence {
					w *= k.message[j*cells+i]
				}
			}
			sum += w
		}
		logs[j] = p.nodes[j].log + math.Log(sum)
		for c := range p.classes {
			if k := &p.classes[c]; c == 0 || k.evidence {
				logs[j] += k.best[j]
			}
		}
		base.best[j] = sum
		top = max(top, logs[j])
	}
	total := 0.0
	for _, l := range logs {
		total += math.Exp(l - top)
	}
	for j := range p.nodes {
		f := 0.0
		if w := math.Exp(logs[j]-top) / total; w > 0 {
			f = w / base.best[j]
		}
		row := base.like[j*cells : (j+1)*cells]
		for i := range row {
			row[i] *= f
		}
	}
}

// masses writes to out the mass of each cell of class c. With factor, the
// evidence of class from is first multiplied by it, cell by cell; the masses
// then sum to the chance of what factor stands for.
func (p *Posterior) masses(out []float64, c, from int, factor []float64) {
	p.inner = grow(p.inner, cells)
	tmp := grow(p.moved, cells)
	p.moved = tmp
	for j := range p.nodes {
		at := j * cells
		a := p.inner[:cells]
		copy(a, p.classes[0].like[at:at+cells])
		for l := 1; l < len(p.classes); l++ {
			k := &p.classes[l]
			switch {
			case l == c && c != 0:
			case factor != nil && l == from:
				copy(tmp, factor[at:at+cells])
				if k.evidence {
					for i := range tmp {
						tmp[i] *= k.like[at+i]
					}
				}
				var m [cells]float64
				k.offset.gather(m[:], tmp)
				for i := range a {
					a[i] *= m[i]
				}
			case k.evidence:
				for i := range a {
					a[i] *= k.message[at+i]
				}
			}
		}
		if factor != nil && from == 0 {
			for i := range a {
				a[i] *= factor[at+i]
			}
		}
		dst := out[at : at+cells]
		if c == 0 {
			copy(dst, a)
			continue
		}
		k := &p.classes[c]
		k.offset.spread(dst, a)
		for i := range dst {
			if k.evidence {
				dst[i] *= k.like[at+i]
			}
			if factor != nil && from == c {
				dst[i] *= factor[at+i]
			}
		}
	}
}
