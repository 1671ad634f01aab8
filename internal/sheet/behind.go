package sheet

import (
	"fmt"
	"strings"

	"belay/internal/session"
	"belay/internal/units"
)

// needOfKeep is what the ratio of the settings needs under all-core load, nil
// where the evidence does not say.
func (d Data) needOfKeep() *session.NeedAt {
	for _, n := range d.Evidence.Need {
		if n.Ratio == int(d.Settings.Ratio) && n.Target.Q50 > 0 {
			return &n
		}
	}
	return nil
}

// behind lists the numbers behind the proof.
func (d Data) behind() []fact {
	var out []fact
	if n := d.needOfKeep(); n != nil {
		out = append(out, fact{fmt.Sprintf("Needed under load at ratio %d", n.Ratio),
			fmt.Sprintf("%s (%.3f to %.3f)", units.Format("V", n.Target.Q50), n.Target.Q05, n.Target.Q95)})
	}
	if k := d.Evidence.Keep; k != nil && k.ReserveMV != nil {
		out = append(out, fact{"Reserve above that", units.Format("mV", *k.ReserveMV)})
	}
	if w := d.Evidence.Now.Wear; w != nil {
		out = append(out, fact{"Wear against stock", fmt.Sprintf("%.2g to %.2g times as fast; no lifetime", w.Low, w.High)})
	}
	if odd := d.Evidence.Now.Odd; len(odd) > 0 {
		var numbers []string
		for _, o := range odd {
			numbers = append(numbers, fmt.Sprintf("trial %d", o.Trial))
		}
		out = append(out, fact{"Failures that voltage hardly explains", strings.Join(numbers, ", ")})
	}
	return out
}
