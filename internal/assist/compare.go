package assist

import (
	"context"
	"slices"

	"belay/internal/chart"
	"belay/internal/fault"
	"belay/internal/session"
	"belay/internal/trial"
)

// Compared is one session of a comparison.
type Compared struct {
	ID       string           `json:"id"`
	Title    string           `json:"title"`
	Practice bool             `json:"practice"`
	Finished bool             `json:"finished"`
	Keep     *trial.Settings  `json:"keep"` // nil until a search has ended with one
	Evidence session.Evidence `json:"evidence"`
	Cooler   string           `json:"cooler"`
	Firmware string           `json:"firmware_version"`
	AirTempC *float64         `json:"air_temp_c"`
	Trials   int              `json:"trials"`
	Failed   int              `json:"failed"`
	Crashes  int              `json:"crashes"`
	HoursRun float64          `json:"hours_run"` // under load, all trials
}

// Comparison is several sessions side by side, in the order asked for.
type Comparison struct {
	Sessions []Compared `json:"sessions"`
}

// Compare returns two or more sessions side by side: two processors, or one
// before and after a change.
func (a *Assist) Compare(ctx context.Context, ids []string) (Comparison, error) {
	doubled := len(slices.Compact(slices.Sorted(slices.Values(ids)))) < len(ids)
	if doubled || len(ids) < 2 || len(ids) > chart.MostCompared {
		f := fault.Newf(fault.Invalid, "Choose them in the list of sessions.", "A comparison takes 2 to %d different sessions.", chart.MostCompared)
		f.Fields = []fault.Field{{Field: "ids", Message: f.Msg}}
		return Comparison{}, f
	}
	var out Comparison
	for _, id := range ids {
		s, err := a.load(ctx, id)
		if err != nil {
			return Comparison{}, err
		}
		out.Sessions = append(out.Sessions, compared(s))
	}
	return out, nil
}

func compared(s loaded) Compared {
	c := Compared{
		ID: s.ID, Title: s.Title, Practice: s.Practice != nil, Finished: s.Finished(), Evidence: s.Evidence(),
		Cooler: s.Machine.Cooler, Firmware: s.Machine.Firmware, Trials: len(s.Trials),
	}
	if k := s.Keep(); k != nil {
		c.Keep = &k.Keep
	}
	if t, ok := s.Values.Number("air_temp_c"); ok {
		c.AirTempC = &t
	}
	for _, t := range s.Trials {
		c.HoursRun += float64(t.Minutes) / 60
		if t.Outcome.Failed() {
			c.Failed++
		}
		if t.Outcome.Crash() {
			c.Crashes++
		}
	}
	return c
}

// Outlook returns what more work on a session would bring.
func (a *Assist) Outlook(ctx context.Context, id string) (session.Outlook, error) {
	s, err := a.load(ctx, id)
	if err != nil {
		return session.Outlook{}, err
	}
	return s.Outlook(), nil
}
