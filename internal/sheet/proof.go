package sheet

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"belay/internal/trial"
	"belay/internal/units"
	"belay/internal/wording"
)

// unproven stands where no trial speaks for a setting.
const unproven = "not proven by a trial"

// stressed lists the loads that can show a fault of a group's settings.
var stressed = map[group][]trial.Load{
	memory: {trial.Memory, trial.Mixed},
	power:  {trial.Scalar, trial.WideVector, trial.Mixed},
	core:   {trial.Scalar, trial.WideVector, trial.Mixed, trial.Bursty},
	vector: {trial.WideVector},
	cache:  {trial.Cache, trial.Mixed},
}

// run is the clean time of one load, summed over trials.
type run struct {
	Load    trial.Load    `json:"load"`
	Trials  []int         `json:"trials"`
	Minutes units.Minutes `json:"minutes"`
}

// proof is what the trials say of one group of settings.
type proof struct {
	Text    string `json:"text"`
	Clean   []run  `json:"clean"`     // with exactly these settings
	Harder  []run  `json:"harder"`    // at no more voltage and no lower ratio
	Unclean []int  `json:"not_clean"` // trials with these settings that failed or got too hot
}

// proofOf gathers the trials that speak for or against g in s.
func proofOf(g group, s trial.Settings, trials []trial.Trial) proof {
	p := proof{Clean: []run{}, Harder: []run{}, Unclean: []int{}}
	var against []string
	for _, t := range trials {
		if !slices.Contains(stressed[g], t.Load) {
			continue
		}
		same := sameAs(g, t, s)
		switch {
		case same && t.Outcome == trial.Clean:
			p.Clean = add(p.Clean, t)
		case t.Outcome == trial.Clean && harder(g, t, s):
			p.Harder = add(p.Harder, t)
		case same && (t.Outcome.Failed() || t.Outcome.Hot()) && (t.Load != trial.Mixed || len(trial.Diff(t.Settings, s)) == 0):
			p.Unclean = append(p.Unclean, t.N)
			against = append(against, fmt.Sprintf("trial %d (%s, %s)", t.N, wording.Load(t.Load), wording.Outcome(t.Outcome)))
		}
	}
	p.Text = p.text(against)
	return p
}

func (p proof) text(against []string) string {
	var parts []string
	if len(p.Clean) > 0 {
		parts = append(parts, "clean: "+runsText(p.Clean))
	}
	if len(p.Harder) > 0 {
		parts = append(parts, "clean at harder settings: "+runsText(p.Harder))
	}
	if len(parts) == 0 {
		parts = []string{unproven}
	}
	if len(against) > 0 {
		more := ""
		if n := len(against) - most; n > 0 {
			against, more = against[:most], fmt.Sprintf(" and %d more", n)
		}
		parts = append(parts, "not clean: "+strings.Join(against, ", ")+more)
	}
	return strings.Join(parts, "; ")
}

// most is how many trial numbers a line names. Chosen: the line stays short.
const most = 4

func runsText(runs []run) string {
	var parts []string
	for _, r := range runs {
		var numbers []string
		for _, n := range r.Trials[:min(most, len(r.Trials))] {
			numbers = append(numbers, strconv.Itoa(n))
		}
		list := "trial " + strings.Join(numbers, ", ")
		if len(r.Trials) > 1 {
			list = "trials " + strings.Join(numbers, ", ")
		}
		if n := len(r.Trials) - most; n > 0 {
			list += fmt.Sprintf(" and %d more", n)
		}
		parts = append(parts, fmt.Sprintf("%s %s (%s)", wording.Load(r.Load), r.Minutes, list))
	}
	return strings.Join(parts, ", ")
}

// add counts one clean trial, keeping the order of trial.Loads.
func add(runs []run, t trial.Trial) []run {
	i := slices.IndexFunc(runs, func(r run) bool { return r.Load == t.Load })
	if i < 0 {
		runs = append(runs, run{Load: t.Load})
		slices.SortStableFunc(runs, func(a, b run) int {
			return slices.Index(trial.Loads, a.Load) - slices.Index(trial.Loads, b.Load)
		})
		i = slices.IndexFunc(runs, func(r run) bool { return r.Load == t.Load })
	}
	runs[i].Trials = append(runs[i].Trials, t.N)
	runs[i].Minutes += t.Minutes
	return runs
}

// sameAs reports whether t ran with the settings of g as they are in s.
func sameAs(g group, t trial.Trial, s trial.Settings) bool {
	a := t.Settings
	switch g {
	case memory:
		return same(memory, a, s)
	case power:
		return same(power, a, s) && same(core, a, s) && (!vectors(t.Load) || same(vector, a, s))
	case core:
		return same(core, a, s) && uncapped(a, s) && (!vectors(t.Load) || same(vector, a, s))
	}
	return same(g, a, s) && same(core, a, s) && uncapped(a, s)
}

// same compares the settings of one group.
func same(g group, a, b trial.Settings) bool {
	for _, e := range entries {
		if e.group == g && e.value(a) != e.value(b) {
			return false
		}
	}
	return true
}

// vectors reports whether a load contains wide-vector work.
func vectors(l trial.Load) bool { return l == trial.WideVector || l == trial.Mixed }

// uncapped reports whether the sustained limit of a held the clock down no
// more than that of s does. A limit of 0 is as delivered.
func uncapped(a, s trial.Settings) bool {
	return a.SustainedLimit == s.SustainedLimit || s.SustainedLimit > 0 && a.SustainedLimit > s.SustainedLimit
}

// harder reports whether t asked more of the processor than s does: the same
// ratio or a higher one at the same set voltage or a lower one, with the same
// load line. A static voltage says nothing of how another mode idles.
func harder(g group, t trial.Trial, s trial.Settings) bool {
	a := t.Settings
	switch {
	case g == memory,
		g == power && !same(power, a, s),
		s.Ratio == 0 || a.Ratio < s.Ratio,
		a.SetVoltage == 0 || a.SetVoltage > s.SetVoltage,
		s.VoltageMode != "static" && s.VoltageMode != "adaptive",
		a.LoadLine != s.LoadLine || a.Offset != s.Offset || !uncapped(a, s),
		a.VoltageMode != s.VoltageMode && (a.VoltageMode != "static" || t.Load == trial.Bursty),
		t.Load == trial.Bursty && a.LowEndMV > s.LowEndMV,
		vectors(t.Load) && a.WideVectorOffset > s.WideVectorOffset,
		g == cache && a.CacheRatio != s.CacheRatio:
		return false
	}
	return true
}
