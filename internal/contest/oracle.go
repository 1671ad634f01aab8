package contest

import (
	"math"

	"belay/internal/safety"
	"belay/internal/trial"
	"belay/internal/units"
	"belay/internal/virtualrig"
)

// best is the fastest setting that truly meets the target within the limits.
type best struct {
	ratio float64 // 0: none does
}

// oracleSteps is how far above the delivered ratio the oracle looks. Chosen:
// farther than any rig goes.
const oracleSteps = 20

// oracle looks for the fastest setting that meets the target within the limits
// that bind everyone, on the load line and under the power limit of base. It
// knows the truth, where a strategy has predictions with their width.
func oracle(rig *virtualrig.Rig, base trial.Settings, limits safety.Limits, targetH float64) best {
	stock := rig.Machine().StockRatio
	for r := stock + oracleSteps; r > stock-oracleSteps; r-- {
		s := base
		s.Ratio, s.VoltageMode = r, "static"
		if s.SetVoltage = leastSetting(rig, s, limits.SetCeiling(), targetH); s.SetVoltage == 0 {
			continue
		}
		x := rig.Strain(s, trial.Scalar, units.Minutes(math.Inf(1)))
		slowed := x.Ratio < float64(r)-1e-6
		if !slowed && x.LoadVoltage <= limits.CoreCeiling && x.CoreTemp <= limits.TempLimit && x.Power <= limits.PowerLimit {
			return best{ratio: x.Ratio}
		}
	}
	return best{}
}

// leastSetting is the least static voltage, up to most, at which the settings
// meet the target; 0 if none does.
func leastSetting(rig *virtualrig.Rig, s trial.Settings, most units.Volt, targetH float64) units.Volt {
	meets := func(v units.Volt) bool {
		s.SetVoltage = v
		return rig.TrueMTBF(s, trial.Scalar) >= targetH
	}
	if !meets(most) {
		return 0
	}
	lo, hi := units.Volt(0.5), most
	for hi-lo > 1e-4 {
		if mid := (lo + hi) / 2; meets(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi
}

// leastVoltage is the true load voltage of the least set voltage that meets
// the target at these settings, limits aside; NaN if no voltage does.
func leastVoltage(rig *virtualrig.Rig, s trial.Settings, targetH float64) units.Volt {
	s.VoltageMode = "static"
	if s.SetVoltage = leastSetting(rig, s, 1.75, targetH); s.SetVoltage == 0 { // V, chosen: far above any ceiling
		return units.Volt(math.NaN())
	}
	return rig.Strain(s, trial.Scalar, units.Minutes(math.Inf(1))).LoadVoltage
}
