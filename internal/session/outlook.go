package session

import (
	"fmt"
	"math"

	"belay/internal/planner"
	"belay/internal/trial"
	"belay/internal/units"
)

// Outlook is what more work would bring and how much of it is left.
type Outlook struct {
	Further *Further `json:"further_hour"` // nil: not enough evidence, or nothing to keep yet
	Left    TimeLeft `json:"time_left"`
}

// Further is what a further hour under load at the keep would prove.
type Further struct {
	Minutes         float64    `json:"minutes"`
	PassProbability float64    `json:"pass_probability"`
	Confidence      [3]float64 `json:"confidence"`        // now, after a clean hour, after a failure
	ModelFreeH      [2]float64 `json:"model_free_mtbf_h"` // 95 % lower bound without any model: now, after a clean hour
	Sentence        string     `json:"sentence"`
}

// TimeLeft is how long the work goes on, in minutes: with luck, and with the
// usual setbacks.
type TimeLeft struct {
	Step     float64 `json:"step_minutes"`
	Low      float64 `json:"low_minutes"`
	High     float64 `json:"high_minutes"`
	Sentence string  `json:"sentence"`
}

// Time around a trial, in minutes. Source: models.md of the design, section 2.
const (
	setupMinutes = 5 // a change in the firmware setup
	crashMinutes = 8 // a crash, until the PC is up again
)

// furtherMinutes is the length of run that the outlook speaks of.
const furtherMinutes units.Minutes = 60

// Outlook returns what a further hour would prove and how long the rest takes.
func (s *State) Outlook() Outlook {
	o := Outlook{Left: s.timeLeft()}
	k := s.Keep()
	if k == nil {
		return o
	}
	f := planner.FurtherRun(s.planInput("core"), k.Keep, trial.Scalar, furtherMinutes)
	if f == nil {
		return o
	}
	hours := s.proof(k.Keep, nil).CleanHours
	after := hours + float64(furtherMinutes)/60
	o.Further = &Further{
		Minutes: float64(furtherMinutes), PassProbability: round3(f.Pass),
		Confidence: [3]float64{round3(f.Now), round3(f.IfClean), round3(f.IfFailed)},
		ModelFreeH: [2]float64{modelFree(hours), modelFree(after)},
	}
	o.Further.Sentence = o.Further.say()
	return o
}

// say tells it in plain sentences.
func (f *Further) say() string {
	now, clean, failed := planner.Percent(f.Confidence[0]), planner.Percent(f.Confidence[1]), planner.Percent(f.Confidence[2])
	change := fmt.Sprintf("Then the confidence goes from %d %% to %d %%.", now, clean)
	if now == clean {
		change = fmt.Sprintf("Then the confidence stays at %d %%: it needs no further run.", now)
		if now < settled {
			change = fmt.Sprintf("Then the confidence stays near %d %%: a trial below the keep teaches more.", now)
		}
	}
	return fmt.Sprintf("A further hour of all-core load at the keep runs clean with a chance of about %d %%. %s "+
		"A failure would bring it to %d %%. Without any model, a clean hour shows at least %s between failures.",
		planner.Percent(f.PassProbability), change, failed, units.FormatMinutes(f.ModelFreeH[1]*60))
}

// settled is the confidence, in percent, from which more of the same proves
// little. Chosen: the level of the usual claim.
const settled = 90

func modelFree(hours float64) float64 {
	if hours <= 0 {
		return 0
	}
	return round3(planner.ModelFree(0, hours))
}

func round3(x float64) float64 { return math.Round(x*1000) / 1000 }

// timeLeft adds up what the stages usually take, less what this stage has
// taken. A stage that takes longer than usual still takes its present step.
func (s *State) timeLeft() TimeLeft {
	t := TimeLeft{Step: s.Prompt().Minutes}
	if s.Finished() {
		t.Sentence = "The work is done."
		return t
	}
	for _, st := range s.Stages() {
		low, high := float64(st.Minutes[0]), float64(st.Minutes[1])
		switch st.Status {
		case "active":
			spent := s.spent(st.ID)
			t.Low += math.Max(low-spent, t.Step)
			t.High += math.Max(high-spent, 2*(t.Step+setupMinutes))
		case "pending":
			t.Low += low
			t.High += high
		}
	}
	t.Sentence = "From here it usually takes " + rough(t.Low) + " to " + rough(t.High) + " in all. Most of that is waiting, and you can stop at any time."
	return t
}

// spent is the time that the trials of a stage took, minutes.
func (s *State) spent(stage string) float64 {
	minutes := 0.0
	for _, t := range s.Trials {
		if t.Stage != stage {
			continue
		}
		minutes += float64(t.Minutes) + setupMinutes
		if t.Outcome.Crash() {
			minutes += crashMinutes
		}
	}
	return minutes
}

// rough prints a span as one would say it: quarters of an hour below two
// hours, then halves, then hours.
func rough(minutes float64) string {
	step := 60.0
	switch {
	case minutes < 20:
		step = 5
	case minutes < 120:
		step = 15
	case minutes < 300:
		step = 30
	}
	return units.FormatMinutes(math.Max(step, math.Round(minutes/step)*step))
}
