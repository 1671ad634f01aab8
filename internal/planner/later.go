package planner

import (
	"fmt"

	"belay/internal/safety"
	"belay/internal/trial"
	"belay/internal/units"
)

// mostOffset is the largest offset that is tried. Chosen: beyond it stepping
// the core ratio back costs less speed.
const mostOffset = 8

// wideVector finds the smallest offset at which wide-vector loads meet the
// target with the claimed confidence, within the limits. A trial runs at the
// smallest offset that is as likely to pass as a step of the climb: for a larger one it is a shadow
// trial.
func wideVector(s *search) (*trial.Proposal, *trial.Ending) {
	settings := s.base()
	if settings.SetVoltage == 0 {
		return nil, s.keep(settings, "No core voltage was found, so wide vectors run as delivered.")
	}
	failed, clean := -1, -1 // the largest offset that failed, the smallest that held
	for _, t := range s.mine() {
		n := t.Settings.WideVectorOffset
		switch {
		case t.Settings.Ratio != settings.Ratio || t.Settings.SetVoltage != settings.SetVoltage:
		case t.Outcome != trial.Clean:
			failed = max(failed, n)
		case clean < 0 || n < clean:
			clean = n
		}
	}
	try := s.smallestOffset(settings, failed+1, func(x trial.Settings) bool {
		return s.belief.need == nil || s.belief.pass(x, trial.WideVector, 2*screenMinutes) >= climbPass
	})
	sure := s.smallestOffset(settings, failed+1, func(x trial.Settings) bool {
		return s.belief.need == nil || s.belief.confidence(x, trial.WideVector, s.Wishes.TargetH) >= claim
	})
	if clean > failed && clean >= 0 && clean <= max(sure, try) {
		settings.WideVectorOffset = max(sure, clean)
		return nil, s.keep(settings, fmt.Sprintf("Wide-vector loads held with offset %d. With offset %d they meet your target with %d %% confidence.",
			clean, settings.WideVectorOffset, Percent(s.belief.confidence(settings, trial.WideVector, s.Wishes.TargetH))))
	}
	settings.WideVectorOffset = try
	because := "Wide vectors draw more current and more heat. First see whether they hold at the full ratio."
	if try > 0 {
		because = fmt.Sprintf("At a smaller offset wide-vector loads fail, would run too hot, or are not likely to hold. Try %d.", try)
	}
	return &trial.Proposal{
		Settings: settings, Load: trial.WideVector, Minutes: 2 * screenMinutes,
		Because: because, IfClean: "This offset stays, or a larger one that meets your target.", IfFailed: "The offset grows.",
	}, nil
}

// smallestOffset is the smallest offset from n upwards that nothing forbids and
// for which ok holds; mostOffset if there is none.
func (s *search) smallestOffset(x trial.Settings, n int, ok func(trial.Settings) bool) int {
	for ; n < mostOffset; n++ {
		x.WideVectorOffset = n
		if s.safe(x, trial.WideVector) && ok(x) {
			break
		}
	}
	return n
}

// cache raises the cache ratio step by step and stops where it fails or no
// longer pays.
func cache(s *search) (*trial.Proposal, *trial.Ending) {
	settings := s.base()
	top := settings.Ratio - s.Limits.CacheBelowCore
	start := s.Machine.StockCacheRatio
	if start == 0 || settings.Ratio == 0 {
		return nil, s.blocked("The stock cache ratio is not known. The cache stays as delivered.")
	}
	keep, best := settings, start
	for _, t := range s.mine() {
		if t.Outcome != trial.Clean {
			return nil, s.keep(keep, "The next cache ratio did not hold. The last one that held stays.")
		}
		keep, best = t.Settings, t.Settings.CacheRatio
	}
	settings.CacheRatio = best + 1
	next, pays := bestStep([]step{{
		settings: settings, name: "cache ratio", gain: cacheShare / float64(best), holds: holding(len(s.mine())), minutes: screenMinutes,
	}})
	if !pays || settings.CacheRatio > top || !s.safe(settings, trial.Cache) {
		return nil, s.keep(keep, "The cache ratio has come as far as it pays.")
	}
	return &trial.Proposal{
		Settings: settings, Load: trial.Cache, Minutes: next.minutes,
		Because: fmt.Sprintf("One step of cache ratio. Expect a gain near the noise, with a chance of about %.0f %% to hold.", 100*next.holds),
		IfClean: "One more step follows, as long as it pays.", IfFailed: "The last cache ratio that held stays.",
	}, nil
}

// cacheShare is the gain per relative step of the cache clock. Common practice,
// no source: programs gain a tenth of it or less.
const cacheShare = 0.10

// together proves everything at once: mixed load first, then bursts and idle.
func together(s *search) (*trial.Proposal, *trial.Ending) {
	settings := s.merged()
	if settings.SetVoltage == 0 {
		return nil, s.keep(settings, "No core voltage was found. Each change was proven by its own trial, and nothing else has changed.")
	}
	mixed, bursty := false, false
	for _, t := range s.mine() {
		if t.Outcome != trial.Clean || !covers(settings, t.Settings) {
			continue
		}
		mixed = mixed || t.Load == trial.Mixed
		bursty = bursty || t.Load == trial.Bursty
	}
	switch {
	case mixed && bursty:
		return nil, s.keep(settings, "All settings held together, under mixed load and in bursts.")
	case mixed:
		return &trial.Proposal{
			Settings: settings, Load: trial.Bursty, Minutes: memoryMinutes,
			Because: "Steady load holds. Bursts and idle spells find what it cannot.",
			IfClean: "All settings have held together.", IfFailed: "The likeliest cause is named, and you go back to its stage.",
		}, nil
	}
	return &trial.Proposal{
		Settings: settings, Load: trial.Mixed, Minutes: soakMinutes,
		Because: "Each setting held alone. Now they have to hold at the same time.",
		IfClean: "Bursts and idle spells follow.", IfFailed: "The likeliest cause is named, and you go back to its stage.",
	}, nil
}

// covers reports whether holding at tried proves the settings: they are the
// same, or differ only by a higher voltage.
func covers(settings, tried trial.Settings) bool {
	if settings.SetVoltage < tried.SetVoltage {
		return false
	}
	tried.SetVoltage = settings.SetVoltage
	return len(trial.Diff(settings, tried)) == 0
}

// merged joins what each search keeps: a later search built on an older core
// setting takes the newest one.
func (s *search) merged() trial.Settings {
	m := s.base()
	take := func(name string, set func(*trial.Settings, trial.Settings)) {
		if e, ok := s.Endings[name]; ok && !e.Blocked {
			set(&m, e.Keep)
		}
	}
	take("core", func(m *trial.Settings, k trial.Settings) { m.Ratio, m.SetVoltage = k.Ratio, k.SetVoltage })
	take("wide-vector", func(m *trial.Settings, k trial.Settings) { m.WideVectorOffset = k.WideVectorOffset })
	take("memory", func(m *trial.Settings, k trial.Settings) {
		m.DataRate, m.CL, m.TRCD, m.TRP, m.TRAS, m.DRAMVoltage = k.DataRate, k.CL, k.TRCD, k.TRP, k.TRAS, k.DRAMVoltage
	})
	take("cache", func(m *trial.Settings, k trial.Settings) { m.CacheRatio = k.CacheRatio })
	if m.CacheRatio > 0 && m.CacheRatio > m.Ratio-s.Limits.CacheBelowCore {
		m.CacheRatio = m.Ratio - s.Limits.CacheBelowCore
	}
	// A failure of everything together asks for more voltage than each part alone.
	if s.belief.need != nil && m.Ratio > 0 {
		if v := s.lowest(m, m.Ratio, s.Limits.SetCeiling(), s.confident); v > m.SetVoltage {
			_, used := safety.Held(s.Trials) // one step at a time
			m.SetVoltage = max(m.SetVoltage, min(v, up(used, s.Limits.VoltStep)))
		}
	}
	return m
}

// Reserves for daily use, in V. Chosen: half the usual error of a meter, and
// the drift of a few years; each is shown on the sheet.
const (
	ageingReserve = 0.010
	meterReserve  = 0.005
)

// lowEndStep is how far the low end is lifted after a failure in light load, mV.
// Chosen: as large as the largest step of the voltage itself.
const lowEndStep = 25

// daily steps back, adds the reserves, changes the voltage mode and proves
// light load and idle spells.
func daily(s *search) (*trial.Proposal, *trial.Ending) {
	settings := s.dailySettings()
	if settings.SetVoltage == 0 {
		return nil, s.keep(settings, "No core voltage was found. The PC stays as it is now.")
	}
	lifts := 0
	var quiet, loaded bool // held under light load, and under full load
	for _, t := range s.mine() {
		if t.Load == trial.Bursty && t.Outcome.Failed() && t.Settings.Ratio == settings.Ratio {
			lifts++ // light load fails by its low end, whatever the top has become since
			continue
		}
		x := settings
		x.LowEndMV, x.VoltageMode = t.Settings.LowEndMV, t.Settings.VoltageMode
		if t.Outcome == trial.Clean && covers(x, t.Settings) {
			settings = x
			quiet = quiet || t.Load == trial.Bursty
			loaded = loaded || t.Load == trial.Scalar
		}
	}
	if quiet && loaded {
		return nil, s.keep(settings, "This held under light load, in bursts, in idle spells and under full load.")
	}
	if quiet {
		return &trial.Proposal{
			Settings: settings, Load: trial.Scalar, Minutes: measureMinutes,
			Because: "Light load holds. The same setting now runs under full load, and its score gives the final gain.",
			IfClean: "The sheet is next.", IfFailed: "The voltage rises, or the ratio steps back.",
		}, nil
	}
	because := "The daily setting has to hold when the PC idles and wakes, where the voltage falls."
	settings.LowEndMV = float64(lifts * lowEndStep)
	if lifts > 0 {
		because = "It failed at light load, where the voltage is lowest. The low end rises by 25 mV; the top stays."
	}
	if lifts > 3 {
		settings.VoltageMode, settings.LowEndMV = "static", 0
		because = "Lifting the low end did not help. A static voltage does not fall at idle."
	}
	if lifts > 5 {
		return nil, s.blocked("Light load fails with every voltage mode. Go back to the core stage and step back.")
	}
	return &trial.Proposal{
		Settings: settings, Load: trial.Bursty, Minutes: soakMinutes,
		Because: because, IfClean: "The sheet is next.", IfFailed: "The low end of the voltage rises; the top stays.",
	}, nil
}

func (s *search) dailySettings() trial.Settings {
	m := s.base()
	if m.Ratio == 0 {
		return m
	}
	stock := s.Machine.StockRatio
	m.Ratio = max(m.Ratio-units.Ratio(s.Wishes.StepsBack), min(stock, m.Ratio))
	if m.CacheRatio > 0 {
		m.CacheRatio = min(m.CacheRatio, m.Ratio-s.Limits.CacheBelowCore)
	}
	if s.belief.need != nil {
		if v := s.lowest(m, m.Ratio, s.Limits.SetCeiling(), s.confident); v > 0 && v < m.SetVoltage {
			m.SetVoltage = v
		}
	}
	if s.Wishes.StepsBack > 0 {
		m.SetVoltage = min(grid(m.SetVoltage+ageingReserve+meterReserve), s.base().SetVoltage)
	}
	m.VoltageMode = s.Wishes.Mode
	return m
}
