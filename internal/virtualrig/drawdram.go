package virtualrig

// label draws what the memory kit says of itself, and the standard's speed
// that it runs without its profile. Rates and timings are common practice.
func label(d dice) kit {
	ddr4 := kit{standard: "ddr4", ordinary: timing{rate: 2666, cl: 19, rcd: 19, rp: 19, ras: 43, volt: 1.2}}
	ddr5 := kit{standard: "ddr5", ordinary: timing{rate: 4800, cl: 40, rcd: 39, rp: 39, ras: 77, volt: 1.1}}
	k := pick(d, ddr4, ddr4, ddr5)
	if k.standard == "ddr4" {
		k.rated = pick(d,
			timing{3200, 16, 18, 18, 36, 1.35},
			timing{3600, 16, 19, 19, 39, 1.35},
			timing{3600, 18, 22, 22, 42, 1.35},
			timing{4000, 18, 22, 22, 42, 1.40})
	} else {
		k.rated = pick(d,
			timing{5600, 36, 36, 36, 76, 1.25},
			timing{6000, 36, 38, 38, 80, 1.35},
			timing{6400, 32, 39, 39, 84, 1.40})
	}
	k.modules = pick(d, 2, 2, 2, 4)
	k.gb = float64(k.modules) * pick(d, 8.0, 16)
	return k
}

// drawDRAM draws the kit and its true limits as shares of its rating.
func drawDRAM(d dice, q quirks) dram {
	k := label(d)
	rate := d.between(0.020, 0.090)
	cl, rcd, rp, ras := d.between(0.05, 0.12), d.between(0.05, 0.10), d.between(0.05, 0.10), d.between(0.08, 0.20)
	perVolt := [4]float64{d.between(0.20, 0.45), d.between(0.40, 0.60), d.between(0.05, 0.15), d.between(0.05, 0.15)}
	spareProfile := d.Float64()
	switch {
	case q.noHeadroom: // sound at its rating, less than any step, and deaf to voltage
		rate, cl, rcd, rp = 0.018, 0.018, 0.018, 0.018
		perVolt = [4]float64{}
	case q.profileNoBoot:
		rate = -0.013 - 0.002*spareProfile
	case q.profileErrors:
		rate = 0.001 - 0.004*spareProfile
	}
	return dram{
		kit:       k,
		rate:      limit{float64(k.rated.rate) * (1 + rate), perVolt[0]},
		cl:        limit{k.rated.ns(k.rated.cl) / (1 + cl), perVolt[1]},
		rcd:       limit{k.rated.ns(k.rated.rcd) / (1 + rcd), perVolt[2]},
		rp:        limit{k.rated.ns(k.rated.rp) / (1 + rp), perVolt[3]},
		ras:       limit{k.rated.ns(k.rated.ras) / (1 + ras), 0.05},
		saturates: k.rated.volt + d.between(0.12, 0.20), profileIgnored: q.profileIgnored,
	}
}
