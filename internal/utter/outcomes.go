package utter

// crash is a failure of which the text does not say what it looked like.
const crash = "crash"

// outcomes are the words for how a trial ended, by value of the field.
var outcomes = phrases(map[string]string{
	"clean": "clean|ran clean|passed|pass|all good|no problem|no problems|no issues|no issue|finished fine|went fine|ran fine|fine|stable|rock solid|survived|" +
		"success|successful|completed|finished|went through|made it|held|ran through|no trouble|without trouble|without any trouble|without any problems|without a hitch|without problems|without issues|without a problem|flawless|perfect|ran well|went well|good",
	"error": "error|errors|wrong result|wrong results|found an error|calculation error|rounding error|bad result|worker failed|mismatch|ended by itself|load ended by itself|miscalculated",
	"froze": "froze|freeze|freezed|frozen|frooze|frozen solid|froze solid|hung|hang|hangs|hanged|locked up|lock up|lockup|locks up|stood still|unresponsive|not responding|stopped responding|" +
		"mouse does not move|nothing moves|stuck screen|screen stuck|freezes|freezing|halted|picture stood still",
	"reset": "reset|resets|reset itself|reboot|reboots|rebooted|rebooting|restart|restarted|restarts|restarting|bsod|blue screen|bluescreen|blue screened|crash screen|bluescreened|stop screen|green screen|stop code",
	"no_boot": "did not start|does not start|will not start|did not even start|did not boot|does not boot|will not boot|no boot|will not post|did not post|does not post|no post|" +
		"boot loop|bootloop|no picture|no start|never started|would not start|would not boot|no signal|not booting|cannot boot|did not come up|on and off again|refuses to boot|will not turn on|does not turn on",
	"too_hot":   "too hot|overheated|overheating|overheat|over heated|way too hot|thermal shutdown",
	"throttled": "throttled|throttling|throttle|throttles|slowed down|slows down|slowing down|throttled down|clock dropped|dropped clock|downclocked",
	"stopped": "i stopped|i stopped it|stopped it|stopped|i aborted|aborted|power cut|power outage|cancelled|canceled|i closed|closed the program|closed it|blackout|i quit it|stopped by me|" +
		"interrupted|i ended it|had to leave|lost power|power failure",
	crash: "crash|crashed|crashes|crashing|failed|fails|fail|failure|died|dies|dead|unstable|black screen|blackscreen|screen went black|went black|turned off|shut off|shut down|shutdown|" +
		"powered off|switched off|went off|turned itself off|gave up|did not make it|did not survive|did not hold|not stable|not solid|not clean|not ok|not fine|not good|did not pass|did not finish|not passed|not perfect",
})

// fails are the outcomes whose time is that to the failure.
var fails = map[string]bool{"error": true, "froze": true, "reset": true, crash: true}

// choiceWords are the words for the choices of other fields, by field and
// value. Fields that are not listed go by the value itself.
var choiceWords = map[string]map[string][]phrase{
	"backup": {
		"done": phrasesOf("have a backup|have one|backed up|backup is done|backup done|yes|yep|yeah|done|made one|made a backup|all backed up|sure"),
		"none": phrasesOf("no backup|have no backup|do not have a backup|do not have one|do not have any|none|no|nope|nothing backed up|have not|not backed up"),
	},
	"clear_known": {"yes": phrasesOf("yes|yep|yeah|sure|of course|i know|know how"), "no": phrasesOf("no|nope|do not know how|never did that")},
	"photo_taken": {
		"yes": phrasesOf("yes|yep|yeah|sure|taken|took photos|took pictures|have photos|photos taken|took a photo|have a photo"),
		"no":  phrasesOf("no|nope|no photo|no photos|did not take any"),
	},
	"cooler": {
		"air":    phrasesOf("air|air cooler|air cooled|tower|tower cooler|fan|heatsink|metal fins|fins"),
		"liquid": phrasesOf("liquid|water|water cooled|water cooler|water cooling|aio|radiator|hoses|custom loop|watercooled|liquid cooler"),
	},
	"target": {
		"relaxed": phrasesOf("relaxed|once a month|once a month is fine|monthly"),
		"normal":  phrasesOf("normal|at most once in 500 hours"),
		"strict":  phrasesOf("strict|must never fail|must never crash|never fail|never crash|never ever crash|must not fail|must not crash"),
	},
	"priority": {
		"fast":  phrasesOf("fast|speed|fastest|as fast as possible|performance|faster"),
		"cool":  phrasesOf("cool|low temperature|low temperatures|low power|cooler|low heat"),
		"quiet": phrasesOf("quiet|silent|silence|quiet fans|low noise|quietness"),
	},
	"steps_back": {
		"0": phrasesOf("none|no steps back|no step back|zero steps|0 steps|stay at the fastest|zero steps back|0 steps back"),
		"1": phrasesOf("one step back|1 step back|one step|a step back|1 step"),
		"2": phrasesOf("two steps back|2 steps back|two steps|2 steps"),
	},
	"daily_mode":      {"adaptive": phrasesOf("adaptive"), "offset": phrasesOf("offset"), "static": phrasesOf("static|fixed|manual|override")},
	"voltage_mode":    {"adaptive": phrasesOf("adaptive"), "offset": phrasesOf("offset mode|mode is offset|mode offset|offset"), "static": phrasesOf("static|fixed|manual|override")},
	"memory_standard": {"ddr4": phrasesOf("ddr4|ddr 4"), "ddr5": phrasesOf("ddr5|ddr 5")},
	"memory_profile": {
		"on":  phrasesOf("on|enabled|active|activated|profile on|switched on|turned on"),
		"off": phrasesOf("off|disabled|profile off|deactivated"),
	},
}
