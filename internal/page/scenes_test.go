package page

import (
	"strings"
	"time"

	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/session"
	"belay/internal/trial"
)

// Scenes: invented prompts and sessions in the shape in which the use cases
// give them. No figure here is a measurement.

func at(x float64) *float64 { return &x }

func stages(active string) []session.StageView {
	all := []session.StageView{
		{ID: "prepare", Title: "Get ready", Purpose: "Make sure nothing is lost whatever happens.", Minutes: [2]int{15, 30}},
		{ID: "rig", Title: "Describe the PC", Purpose: "Know the parts and their limits.", Minutes: [2]int{5, 10}},
		{ID: "baseline", Title: "Measure it as delivered", Purpose: "Know what it does now.", Minutes: [2]int{30, 45}},
		{ID: "power-cap", Title: "Lift the power cap", Purpose: "See what the cap holds back.", Minutes: [2]int{30, 45}},
		{ID: "memory-profile", Title: "Memory profile", Purpose: "Run the memory at its rated speed.", Minutes: [2]int{30, 90}},
		{ID: "voltage-mode", Title: "Static voltage and load line", Purpose: "Make the voltage predictable.", Minutes: [2]int{20, 40}},
		{ID: "core", Title: "Core ratio and voltage", Purpose: "Find the fastest ratio and the voltage that holds it.", Minutes: [2]int{60, 240}},
		{ID: "wide-vector", Title: "Wide-vector load", Purpose: "Prove the heaviest work too.", Minutes: [2]int{30, 90}},
		{ID: "memory", Title: "Memory speed and timings", Purpose: "Go beyond the kit's rating.", Minutes: [2]int{60, 240}},
		{ID: "cache", Title: "Cache ratio", Purpose: "Bring the cache near the cores.", Minutes: [2]int{30, 60}},
		{ID: "together", Title: "Everything together", Purpose: "Prove the whole.", Minutes: [2]int{120, 480}},
		{ID: "daily", Title: "Settings for every day", Purpose: "Step back and save idle power.", Minutes: [2]int{60, 120}},
		{ID: "sheet", Title: "Settings sheet", Purpose: "Keep all values at hand.", Minutes: [2]int{5, 5}},
	}
	status := "done"
	for i := range all {
		all[i].Status = status
		if all[i].ID == active {
			all[i].Status, status = "active", "pending"
		}
	}
	if active == "core" {
		all[4].Status = "skipped"
	}
	return all
}

var coreVoltage = session.Caution{
	ID: "core-voltage", Signal: "NOTICE",
	Hazard:      "Core voltage rises from 1.235 V to 1.250 V.",
	Consequence: "Too much voltage wears the processor out, or ends it at once.",
	Avoid:       "Read the value twice before you save it. Never type it from memory.",
	Limit:       "Load voltage at most 1.350 V; set voltage at most 1.410 V.",
	WayBack:     "Clear the firmware settings; the PC then starts as delivered.",
}

var hotParts = session.Caution{
	ID: "hot", Signal: "CAUTION",
	Hazard:      "The cooler and the voltage regulators get hot, near 90 °C.",
	Consequence: "Touching them burns.",
	Avoid:       "Keep the case closed while the load runs.",
	Limit:       "The trial stops at 95 °C.",
	WayBack:     "Stop the load and wait ten minutes.",
}

var mains = session.Caution{
	ID: "mains", Signal: "WARNING",
	Hazard:      "Mains voltage stays inside the power supply.",
	Consequence: "It can kill.",
	Avoid:       "Switch off, unplug, and hold the power button for ten seconds. Never open the supply.",
	Limit:       "Nothing in this step needs the supply opened.",
	WayBack:     "Close the case before you plug in again.",
}

func welcome() session.Prompt {
	return session.Prompt{
		ID: "p-1", State: "prepare.welcome", Stage: "prepare", Title: "Save your files first", Minutes: 15,
		Messages: []session.Message{
			{Kind: "say", Text: "The PC will freeze and restart during trials. A backup on another drive is the only sure way."},
			{Kind: "do", Text: "Copy what you cannot lose to another drive."},
			{Kind: "do", Text: "Unplug that drive."},
			{Kind: "see", Text: "The files open from the other drive."},
			{Kind: "if_fails", Text: "No other drive? Stop here and go on when you have one."},
		},
		Fields: []session.Field{{
			Name: "backup", Label: "Is a backup on another drive?", Kind: "yesno", Required: true,
			Help: "A crash can damage files that are open.", Unknown: "Take it as no.",
		}},
		Actions: []session.Action{{Name: "next", Label: "Save and go on"}, {Name: "stop", Label: "Stop here for now"}},
	}
}

func proposal() *trial.Proposal {
	return &trial.Proposal{
		Search:   "core",
		Settings: trial.Settings{Ratio: 49, SetVoltage: 1.250, VoltageMode: "static", LoadLine: "level 4", SustainedLimit: 4095},
		Changed:  []string{"ratio", "set_voltage_v"}, Load: trial.Scalar, Minutes: 10,
		Expect: &trial.Expectation{
			LoadVoltage: trial.Interval{1.206, 1.214, 1.222}, CoreTemp: trial.Interval{79, 83, 88}, PackagePower: trial.Interval{196, 207, 219},
		},
		PassProbability: 0.72,
		Because:         "Ratio 48 held at 1.235 V with 22 mV to spare. One step up needs about 15 mV more.",
		IfClean:         "A longer trial at the same settings.",
		IfFailed:        "The same ratio with 15 mV more, still below the ceiling.",
	}
}

func enterPrompt() session.Prompt {
	return session.Prompt{
		ID: "p-20", State: "core.enter", Stage: "core", Title: "Enter the next setting", Minutes: 5, Restarts: true,
		Messages: []session.Message{
			{Kind: "say", Text: "One step up in [[core ratio]], with the voltage that it should need under load. See the [[load line|load line's]] effect below."},
			{Kind: "do", Text: "Restart and open the firmware setup."},
			{Kind: "do", Text: "Set the core ratio for all cores to 49."},
			{Kind: "do", Text: "Set the core voltage to 1.250 V, in static mode."},
			{Kind: "do", Text: "Save, leave the setup, and let the PC start."},
			{Kind: "see", Text: "The PC starts as usual."},
			{Kind: "if_fails", Text: "No picture after two minutes: hold the power button, then clear the firmware settings."},
		},
		Cautions: []session.Caution{coreVoltage},
		Proposal: proposal(),
		Fields: []session.Field{
			{Name: "ratio", Label: "Core ratio, as the screen shows it", Kind: "number", Unit: "×", Min: at(8), Max: at(70), Required: true, Readback: true, Default: 49.0, Example: "48", Help: "A typing slip here is the commonest mistake.", Unknown: ""},
			{Name: "set_voltage_v", Label: "Core voltage, as set", Kind: "number", Unit: "V", Min: at(0.6), Max: at(1.6), Step: at(0.001), Required: true, Readback: true, Default: 1.250, Example: "1.255", Help: "It decides whether the ratio holds. In the firmware setup, near the core ratio."},
		},
		Actions: []session.Action{
			{Name: "entered", Label: "These are in the firmware now", Needs: []string{"ratio", "set_voltage_v"}},
			{Name: "no_boot", Label: "The PC did not start"}, {Name: "skip_stage", Label: "Skip this stage"},
			{Name: "stop", Label: "Stop here for now"},
		},
	}
}

func trialPrompt() session.Prompt {
	return session.Prompt{
		ID: "p-21", State: "core.run", Stage: "core", Title: "Run the load and report", Minutes: 10, Trial: true,
		Messages: []session.Message{
			{Kind: "do", Text: "Close everything else."},
			{Kind: "do", Text: "Start the [[all-core load]] and watch the hottest core."},
			{Kind: "see", Text: "The load runs the whole time and finds no wrong result."},
			{Kind: "if_fails", Text: "A freeze or restart is a result too. Report it when the PC is back."},
		},
		Cautions: []session.Caution{hotParts, coreVoltage},
		Proposal: proposal(),
		Fields: []session.Field{
			{Name: "outcome", Label: "How did it end?", Kind: "choice", Required: true, Choices: []session.Choice{
				{Value: "clean", Label: "It ran clean to the end"}, {Value: "error", Label: "It found a wrong result"},
				{Value: "froze", Label: "The PC froze"}, {Value: "reset", Label: "The PC restarted by itself"},
				{Value: "no_boot", Label: "The PC did not start"}, {Value: "too_hot", Label: "It got too hot"},
				{Value: "throttled", Label: "The processor slowed itself down"}, {Value: "stopped", Label: "I stopped it"}}},
			{Name: "minutes_to_failure", Label: "Minutes until it failed", Kind: "number", Unit: "min", Min: at(0), Max: at(600), Example: "7.5",
				NeededIf: map[string][]string{"outcome": {"error", "froze", "reset"}}, Unknown: "It counts as failed within the planned time."},
			{Name: "core_temp_c", Label: "Hottest core", Kind: "number", Unit: "°C", Min: at(20), Max: at(120), Example: "83", Required: true},
			{Name: "readings", Label: "Voltage and power under load", Kind: "readings", Rows: &[2]int{2, 3}, Required: true, Columns: []session.Field{
				{Name: "load_voltage_v", Label: "Load voltage", Kind: "number", Unit: "V", Min: at(0.6), Max: at(1.6), Example: "1.214"},
				{Name: "package_power_w", Label: "Package power", Kind: "number", Unit: "W", Min: at(5), Max: at(600), Example: "207"},
			}},
			{Name: "notes", Label: "Anything odd", Kind: "text"},
		},
		Actions: []session.Action{{Name: "report", Label: "Save the result"}, {Name: "skip", Label: "Skip this trial"}, {Name: "stop", Label: "Stop here for now"}},
	}
}

func manyKinds() session.Prompt {
	choices := []session.Choice{}
	for _, v := range strings.Fields("one two three four five six seven eight nine") {
		choices = append(choices, session.Choice{Value: v, Label: "Level " + v})
	}
	return session.Prompt{
		ID: "p-9", State: "rig.all", Stage: "rig", Title: "Describe the PC",
		Cautions: []session.Caution{mains},
		Messages: []session.Message{{Kind: "do", Text: "Look inside the case."}},
		Fields: []session.Field{
			{Name: "core_count", Label: "Cores", Kind: "number", Unit: "pieces", Min: at(1), Max: at(64), Default: 10.0, Example: "10"},
			{Name: "offset_v", Label: "Voltage offset", Kind: "number", Unit: "V", Min: at(-0.3), Max: at(0.3), Example: "-0.050"},
			{Name: "cooler", Label: "Cooler", Kind: "choice", Required: true, Default: "air", Choices: []session.Choice{{Value: "air", Label: "Air"}, {Value: "water", Label: "Water"}}},
			{Name: "load_line", Label: "Load-line level", Kind: "choice", Choices: choices},
			{Name: "own_kit", Label: "Is the memory a kit?", Kind: "yesno", Default: true, Required: true},
			{Name: "firmware_version", Label: "Firmware version", Kind: "text", Default: "F.12"},
			{Name: "scores", Label: "Scores", Kind: "readings", Rows: &[2]int{3, 3}, Columns: []session.Field{
				{Name: "score", Label: "Score", Kind: "number", Unit: "points", Min: at(1), Max: at(1e6), Example: "5210"}}},
		},
		Actions: []session.Action{{Name: "next", Label: "Save and go on"}},
	}
}

func finishedPrompt() session.Prompt {
	return session.Prompt{
		ID: "p-99", State: "sheet.done", Stage: "sheet", Title: "Done: keep the sheet", Finished: true,
		Messages: []session.Message{{Kind: "say", Text: "Your settings are proven and written down."}},
	}
}

func evidence() session.Evidence {
	confidence, reserve := 0.9, 18.0
	return session.Evidence{
		Keep: &session.KeepEvidence{Settings: trial.Settings{Ratio: 48, SetVoltage: 1.235, VoltageMode: "static"}, Load: trial.Scalar, TargetH: 500, Confidence: &confidence, ReserveMV: &reserve},
		Need: []session.NeedAt{
			{Load: trial.Scalar, Ratio: 48, Target: session.Band{Q05: 1.198, Q50: 1.205, Q95: 1.213}, TenMinutes: session.Band{Q05: 1.182, Q50: 1.188, Q95: 1.196}},
			{Load: trial.Scalar, Ratio: 49, Target: session.Band{Q05: 1.228, Q50: 1.241, Q95: 1.256}, TenMinutes: session.Band{Q05: 1.205, Q50: 1.214, Q95: 1.226}},
		},
		Gains:    &session.Gains{OverStock: &session.Gain{Ratio: 1.172, Ratio95: [2]float64{1.165, 1.179}, Verdict: "faster"}},
		Heat:     &session.HeatFit{RthKPerW: [3]float64{0.26, 0.28, 0.31}, AirTempC: 24, HottestC: 84, MostPowerW: 209, Readings: 9},
		LoadLine: &session.LoadLineFit{ResistanceMOhm: 0.31, Resistance95MOhm: [2]float64{0.22, 0.4}, OffsetV: 0.004, Readings: 3},
		Proof:    session.Proof{Sentence: "Ratio 48 at 1.235 V holds under all-core load; at 90 % confidence it fails less than once in 500 h.", ModelFreeMTBFH: 1.4, CleanHours: 4.25},
		Warnings: []string{"Room temperature was not read in two trials."},
	}
}

func history() []session.Entry {
	day := time.Date(2026, 3, 4, 18, 5, 0, 0, time.UTC)
	in := []session.Entry{
		{From: "guide", Title: "Enter the next setting", Stage: "core"},
		{From: "you", Title: "These are in the firmware now", Lines: []string{"Core ratio: 48", "Core voltage, as set: 1.220 V"}, Stage: "core"},
		{From: "guide", Title: "Run the load and report", Stage: "core"},
		{From: "you", Title: "Save the result", Lines: []string{"How did it end? The PC froze", "Minutes until it failed: 6.5 min"}, Stage: "core"},
		{From: "pc", Title: "The PC started again", Lines: []string{"It was down for about 3 min."}, Stage: "core"},
		{From: "guide", Title: "A freeze is a result", Lines: []string{"The ratio needs more than 1.188 V under [[all-core load]]."}, Stage: "core"},
		{From: "you", Title: "These are in the firmware now", Lines: []string{"Core ratio: 48", "Core voltage, as set: 1.253 V"}, Stage: "core", Superseded: true},
		{From: "you", Title: "These are in the firmware now", Lines: []string{"Core ratio: 48", "Core voltage, as set: 1.235 V"}, Stage: "core"},
		{From: "you", Title: "Save the result", Lines: []string{"How did it end? It ran clean to the end", "Hottest core: 81 °C"}, Stage: "core"},
		{From: "guide", Title: "Ratio 48 holds", Lines: []string{"Next: one step up."}, Stage: "core"},
	}
	for i := range in {
		in[i].Version, in[i].Time = int64(i+30), day.Add(time.Duration(i)*7*time.Minute)
	}
	return in
}

func trials() []trial.Trial {
	return []trial.Trial{
		{N: 1, Load: trial.Scalar, Outcome: trial.Clean, PlannedMinutes: 30, Minutes: 30, Readings: trial.Readings{LoadVoltage: 1.171}},
		{N: 2, Load: trial.Scalar, Settings: trial.Settings{Ratio: 48}, Outcome: trial.Froze, PlannedMinutes: 10, Minutes: 6.5, Readings: trial.Readings{LoadVoltage: 1.188}},
		{N: 3, Load: trial.WideVector, Settings: trial.Settings{Ratio: 48}, Outcome: trial.TooHot, PlannedMinutes: 10, Minutes: 2, Readings: trial.Readings{LoadVoltage: 1.201}},
		{N: 4, Load: trial.Scalar, Settings: trial.Settings{Ratio: 48}, Outcome: trial.Clean, PlannedMinutes: 240, Minutes: 240, Readings: trial.Readings{LoadVoltage: 1.203}},
	}
}

func badTemp(form map[string][]string) []fault.Field {
	if form["core_temp_c"][0] == "8300" {
		return []fault.Field{
			{Field: "core_temp_c", Message: "Hottest core: 8300 °C is above the range. Enter a value from 20 °C to 120 °C, such as 83."},
			{Field: "readings.1.load_voltage_v", Message: "Load voltage is missing in reading 2. Enter a value from 0.6 V to 1.6 V, such as 1.214."},
		}
	}
	return nil
}

// scenes is a guide with one session for each state of interest.
func scenes() *fakeGuide {
	now := trial.Settings{Ratio: 48, SetVoltage: 1.235, VoltageMode: "static", LoadLine: "level 4", SustainedLimit: 4095}
	core := func(prompts ...session.Prompt) *fakeSession {
		return &fakeSession{
			view:    session.View{Title: "Desk PC, winter", Stage: "core", Stages: stages("core"), Settings: now, Evidence: evidence(), Version: 40},
			prompts: prompts, history: history(), trials: trials(), refuse: map[string]func(map[string][]string) []fault.Field{"core.run": badTemp},
		}
	}
	g := newFake()
	g.add("core", core(enterPrompt(), trialPrompt(), manyKinds()))
	g.add("trial", core(trialPrompt(), finishedPrompt()))
	cut := trialPrompt()
	cut.Found = &session.Found{From: "crash", Says: "The PC froze about 7 min 20 s into this trial.", Certainty: "certain", Evidence: []string{"The operating system has restarted since the trial began."}}
	g.add("crashed", core(cut, finishedPrompt()))
	g.add("kinds", &fakeSession{view: session.View{Title: "All kinds", Stages: stages("rig")}, prompts: []session.Prompt{manyKinds(), finishedPrompt()}})
	g.add("fresh", &fakeSession{view: session.View{Title: "Fresh", Stages: stages("prepare")}, prompts: []session.Prompt{welcome(), finishedPrompt()}})
	rehearsal := core(practised(trialPrompt()), practised(enterPrompt()), finishedPrompt())
	rehearsal.view.Practice, rehearsal.view.Title = practice, "Rehearsal"
	g.add("practice", rehearsal)
	keep := now
	g.add("done", &fakeSession{view: session.View{Title: "Last spring", Stages: stages(""), Finished: true, Keep: &keep, Evidence: evidence()}, prompts: []session.Prompt{finishedPrompt()}, history: history(), trials: trials()})
	g.terms = []flow.Term{
		{Term: "load line", Also: []string{"load-line calibration"}, Text: "How far the voltage falls as the [[core ratio]] and the current rise."},
		{Term: "core ratio", Also: []string{"multiplier"}, Text: "The core clock as a multiple of the base clock."},
		{Term: "all-core load", Text: "A load that keeps every core busy."},
	}
	return g
}

func practised(p session.Prompt) session.Prompt {
	p.Actions = append(p.Actions, session.Action{Name: "simulate", Label: "Let the simulated PC answer"})
	return p
}
