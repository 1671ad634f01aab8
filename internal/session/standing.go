package session

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"belay/internal/flow"
	"belay/internal/planner"
	"belay/internal/trial"
	"belay/internal/units"
	"belay/internal/wear"
	"belay/internal/wording"
)

// Standing is where the evidence stands now, in numbers and in sentences.
type Standing struct {
	// Confidence that the settings in the firmware meet the target under
	// all-core load. Nil: not enough evidence.
	Confidence *float64           `json:"confidence"`
	LastTrial  *LastTrial         `json:"last_trial"` // nil: it says nothing about voltage
	Next       *trial.Expectation `json:"next"`       // nil: no trial is proposed, or too little to predict it
	Wear       *Wear              `json:"wear"`       // nil: not enough readings
	Odd        []OddFailure       `json:"odd_failures"`
	Sentences  []string           `json:"sentences"`
}

// LastTrial is what the newest trial changed at its own ratio and load: the
// need for the target, and the confidence of the keep.
type LastTrial struct {
	Trial            int        `json:"trial"`
	Load             trial.Load `json:"load"`
	Ratio            int        `json:"ratio"`
	Before           Band       `json:"before"`
	After            Band       `json:"after"`
	ConfidenceBefore *float64   `json:"confidence_before"` // nil: not enough evidence
	ConfidenceAfter  *float64   `json:"confidence_after"`
}

// Wear compares the keep with the PC as delivered. It is no lifetime.
type Wear struct {
	Low  float64 `json:"factor_low"`
	Mid  float64 `json:"factor_mid"`
	High float64 `json:"factor_high"`
}

// OddFailure is a failure that voltage hardly explains.
type OddFailure struct {
	Trial  int     `json:"trial"`
	Chance float64 `json:"chance"` // that something else caused it
}

// standing puts where the evidence stands in numbers and sentences.
func (s *State) standing(now planner.Standing) Standing {
	out := Standing{Confidence: rounded(now.Present, 1000), Odd: []OddFailure{}, Wear: s.wear(now.Keep)}
	if p := s.Proposal; p != nil {
		out.Next = p.Expect
	}
	if l := now.Last; l != nil {
		out.LastTrial = &LastTrial{
			Trial: l.Trial, Load: l.Load, Ratio: int(l.Ratio), Before: band(l.Before), After: band(l.After),
			ConfidenceBefore: rounded(l.SureBefore, 1000), ConfidenceAfter: rounded(l.SureAfter, 1000),
		}
	}
	for _, o := range now.Odd {
		out.Odd = append(out.Odd, OddFailure{o.Trial, math.Round(o.Chance*100) / 100})
	}
	out.Sentences = out.say(s)
	return out
}

// wear compares the expected keep with the readings as delivered.
func (s *State) wear(keep *trial.Expectation) *Wear {
	if keep == nil || s.Keep() == nil {
		return nil
	}
	for _, t := range slices.Backward(s.Trials) {
		if t.Stage != "baseline" || t.Outcome != trial.Clean || t.Readings.LoadVoltage == 0 || t.Readings.CoreTemp == 0 {
			continue
		}
		r, err := wear.Relative(
			wear.Condition{Voltage: t.Readings.LoadVoltage, Temp: t.Readings.CoreTemp},
			wear.Condition{Voltage: units.Volt(keep.LoadVoltage[1]), Temp: units.Celsius(keep.CoreTemp[1])})
		if err != nil {
			return nil
		}
		return &Wear{Low: tenth(r.Low), Mid: tenth(r.Mid), High: tenth(r.High)}
	}
	return nil
}

// tenth rounds a factor to two significant digits.
func tenth(x float64) float64 {
	per := math.Pow(10, 1-math.Floor(math.Log10(x)))
	return math.Round(x*per) / per
}

// say tells the same in sentences.
func (n *Standing) say(s *State) []string {
	out := n.brief(s)
	if w := n.Wear; w != nil {
		out = append(out, w.Say())
	}
	for _, o := range n.Odd {
		out = append(out, o.say())
	}
	return out
}

// brief tells what matters for the next trial.
func (n *Standing) brief(s *State) []string {
	out := []string{}
	if l := n.LastTrial; l != nil {
		out = append(out, l.say())
	}
	switch {
	case s.Settings.Ratio == 0:
	case n.Confidence == nil:
		out = append(out, "There is not enough evidence yet to judge the present setting.")
	default:
		out = append(out, fmt.Sprintf("The present setting lasts %.0f h between failures with %d %% confidence.", s.wishes().TargetH, planner.Percent(*n.Confidence)))
	}
	if e := n.Next; e != nil {
		out = append(out, fmt.Sprintf("The next trial should show %s (%.0f to %.0f) and %s (%.0f to %.0f).",
			units.Format("°C", e.CoreTemp[1]), e.CoreTemp[0], e.CoreTemp[2], units.Format("W", e.PackagePower[1]), e.PackagePower[0], e.PackagePower[2]))
	}
	return out
}

// evidenceMessages are the sentences of a step that tries or enters a setting.
func (s *State) evidenceMessages(here *flow.State) []Message {
	if !here.Trial && here.Plan == "" || len(s.Trials) == 0 {
		return nil
	}
	now := s.standing(planner.Stand(s.planInput("core"), s.keepOr()))
	var out []Message
	for _, line := range now.brief(s) {
		out = append(out, Message{Kind: "evidence", Text: line})
	}
	return out
}

func (l *LastTrial) say() string {
	width := func(b Band) float64 { return (b.Q95 - b.Q05) * 1000 }
	moved := math.Round((l.After.Q50 - l.Before.Q50) * 1000)
	head := fmt.Sprintf("Trial %d left the need of ratio %d at %.3f V", l.Trial, l.Ratio, l.After.Q50)
	if moved != 0 {
		head = fmt.Sprintf("Trial %d moved the need of ratio %d by %+.0f mV to %.3f V", l.Trial, l.Ratio, moved, l.After.Q50)
	}
	return fmt.Sprintf("%s. Its range is now %.0f mV wide, %.0f mV before.", head, width(l.After), width(l.Before))
}

// Say tells the band of wear.
func (w *Wear) Say() string {
	if w.Low == w.High {
		return "The keep wears the processor as fast as it was delivered."
	}
	return fmt.Sprintf("The keep wears the processor %s to %s times as fast as delivered. This is no lifetime.", factor(w.Low), factor(w.High))
}

func factor(x float64) string { return strings.TrimSuffix(fmt.Sprintf("%.2g", x), ".0") }

func (o OddFailure) say() string {
	return fmt.Sprintf("The failure of trial %d probably had another cause than voltage (%.0f %%).", o.Trial, o.Chance*100)
}

// notProven says in one sentence what the trials leave open for the keep.
func (s *State) notProven(keep trial.Settings) string {
	var open []string
	for _, l := range []trial.Load{trial.Scalar, trial.WideVector, trial.Mixed, trial.Bursty, trial.Memory} {
		if !slices.ContainsFunc(s.Trials, func(t trial.Trial) bool { return t.Load == l && provenBy(t, keep) }) {
			open = append(open, wording.Load(l))
		}
	}
	room := "a hotter room"
	if air := s.roomProven(); air > 0 {
		room = "a room hotter than " + air.String()
	}
	return "Not proven: " + list(append(open, "rarer failures", room)) + "."
}

// provenBy reports whether t ran clean at the keep or at a harder setting.
func provenBy(t trial.Trial, keep trial.Settings) bool {
	switch {
	case t.Outcome != trial.Clean:
		return false
	case t.Load == trial.Memory:
		return t.Settings.DataRate == keep.DataRate && t.Settings.CL == keep.CL
	}
	return keep.Ratio > 0 && t.Settings.Ratio >= keep.Ratio && t.Settings.SetVoltage > 0 && t.Settings.SetVoltage <= keep.SetVoltage &&
		(t.Load != trial.WideVector && t.Load != trial.Mixed || t.Settings.WideVectorOffset <= keep.WideVectorOffset)
}

// roomProven is the hottest air of a clean trial, 0 if it was never read.
func (s *State) roomProven() units.Celsius {
	var air units.Celsius
	for _, t := range s.Trials {
		if t.Outcome == trial.Clean {
			air = max(air, t.Readings.AirTemp)
		}
	}
	return air
}
