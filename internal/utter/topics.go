package utter

import "strings"

// topics are the ways to ask what can be answered in every step.
var topics = map[string][]phrase{
	"danger": phrasesOf("smoke|smoking|smells|burning|burnt smell|burned smell|sparks|spark|on fire|flames|electric shock|got a shock|buzzing loudly|melted|melting"),
	"find": phrasesOf("cannot find|can not find|could not find|where do i find|where do i see|where do i look|where can i find|where can i see|how do i find|how do i see|where is the|where are the|" +
		"where is my|how many|no such|there is no|is not there|not there|does not have|do not have that|do not see|cannot see|not see it|greyed out|grayed out|grey out|missing|not in my bios|" +
		"no profile|nowhere|not listed|do not find|did not find|has no such|not available|how to find|where to find|which menu|which page"),
	"long": phrasesOf("how long|how much longer|are left|is left|minutes left|hours left|time left|time is left|how much time|when are we done|when is it done|are we there yet|when will it|when does it end|finish when|eta|how many hours|" +
		"remaining time|how many minutes|when can i use|still take"),
	"where": phrasesOf("where am i|where are we|which step|what step|which stage|what stage|what phase|how far|progress|status|what is this step"),
	"why":   phrasesOf("why|what for|how come|for what reason|what is the point|reason for"),
	"dunno": phrasesOf("do not know|dunno|no idea|idk|no clue|not sure|cannot tell|unsure|did not look|did not check|did not note|forgot|cannot remember|do not remember|have not looked|cannot say|who knows"),
	"safe":  phrasesOf("safe|dangerous|danger|damage|risky|risk|harm|hurt|destroy|kill|fry|warranty|degrade|break my|break something|break it|break the|this break|too hot|too much|too high|unsafe|wear it out"),
	"trouble": phrasesOf("does not start|did not start|will not start|will not boot|does not boot|did not boot|no picture|no signal|cannot boot|black screen|not booting|will not turn on|does not turn on|" +
		"boot loop|reset the bios|reset bios|clear cmos|clear the cmos|way back|clearing|nothing happens|it is dead|no display|stays black|stay black|stays dark"),
	"help": phrasesOf("help|what now|what do i do|what should i do|what must i do|im lost|am lost|lost|confused|confusing|do not get it|do not understand|stuck|what should i type|what do i type|what to do|what can i say|" +
		"how do i do that|how does this work|how do i do this|what is this|what next|instructions|explain this|what do you want|what do you mean|hint"),
	"next": phrasesOf("ok|okay|done|next|continue|go on|resume|ready|entered|yes|yep|yeah|start|begin|lets go|let us go|found it|i found it|have found it|proceed|finished|go ahead|move on|got it|sure|alright|all set|carry on|weiter"),
}

// first are the topics in the order in which they win.
var first = []string{"long", "find", "where", "why", "dunno", "safe", "trouble", "help", "next"}

var commands = map[string][]phrase{
	"undo": phrasesOf("undo|go back|back|take back|take that back|take it back|revert|made a mistake|wrong button|oops|mistake|previous|last answer|step back|one step|my last answer|mistyped|pressed"),
	"stop": phrasesOf("stop|pause|quit|exit|abort|stop here|enough|enough for today|need a break|take a break|break|no more|end this|end session|leave it for today|bye|close"),
}

// says reports whether the text has a phrase of the list anywhere, in words
// that belong together.
func (r *reader) says(list []phrase) bool {
	for i := range r.tokens {
		for _, p := range list {
			if r.matchAt(i, p.words) > 0 {
				return true
			}
		}
	}
	return false
}

func (r *reader) about(topic string) bool {
	if topic != "danger" {
		return r.says(topics[topic])
	}
	for i := range r.tokens {
		for _, p := range topics[topic] {
			if r.exactAt(i, p.words) > 0 && !negations[wordAt(r.tokens, i-1)] {
				return true
			}
		}
	}
	return false
}

// command returns what the text orders, if it says nothing else.
func (r *reader) command() string {
	_, asksSteps := r.fields["steps_back"]
	switch {
	case r.only(commands["undo"]) && !(asksSteps && r.says(stepWords)):
		return "undo"
	case r.only(commands["stop"]):
		return "stop"
	}
	return ""
}

var stepWords = phrasesOf("step|steps")

// polite are words that change nothing about an order.
var polite = setOf(strings.Fields("sorry i me my a an the it that this please want to need can you now for today just here let us lets would like wanna go here want made have and so of is was am button one step back wrong in"))

// only reports whether the whole text is phrases of the list and polite
// words.
func (r *reader) only(list []phrase) bool {
	hit := false
	for i := 0; i < len(r.tokens); {
		t := r.tokens[i]
		if t.kind == mark {
			if t.text == "?" {
				return false
			}
			i++
			continue
		}
		n := 0
		for _, p := range list {
			if n = r.matchAt(i, p.words); n > 0 {
				break
			}
		}
		switch {
		case n > 0:
			hit = true
			i += n
		case t.kind == word && polite[t.text]:
			i++
		default:
			return false
		}
	}
	return hit
}

var questionWords = setOf(strings.Fields("what why how where when which who is are does can could should would will may do did explain define meaning am was shall must"))

// isQuestion reports whether the text asks rather than tells.
func (r *reader) isQuestion() bool {
	for _, t := range r.tokens {
		if t.kind == mark && t.text == "?" {
			return true
		}
	}
	if len(r.tokens) == 0 || !questionWords[wordAt(r.tokens, 0)] {
		return false
	}
	second := wordAt(r.tokens, 1)
	if first := wordAt(r.tokens, 0); first == "was" || first == "is" {
		return second != "not" && second != "" && !r.holdsNumber() || first == "is" && second == "it" || r.about("safe")
	}
	return second != "not" || !denied[wordAt(r.tokens, 0)]
}

// denied begin a statement where "not" follows: "did not boot".
var denied = setOf(strings.Fields("do does did will would can could are should must"))

// topic returns what the text is about, or "".
func (r *reader) topic() string {
	if r.startsWith(topics["dunno"]) {
		return "dunno"
	}
	for _, t := range first {
		if t == "next" {
			if r.only(topics["next"]) {
				return t
			}
			continue
		}
		if (t == "help" || t == "trouble") && r.holdsNumber() {
			continue // "would 1.3 V help" is no call for help
		}
		if r.about(t) {
			return t
		}
	}
	return ""
}

func (r *reader) startsWith(list []phrase) bool {
	for i := range min(2, len(r.tokens)) {
		for _, p := range list {
			if r.matchAt(i, p.words) > 0 {
				return true
			}
		}
	}
	return false
}

// answerTo finds the question's topic or term.
func (r *reader) answerTo() Reading {
	asksTerm := r.startsWith(termWords)
	if asksTerm {
		if t := r.term(); t != nil && !r.about("why") {
			return Reading{Kind: Term, Term: t}
		}
	}
	if t := r.topic(); t != "" {
		return Reading{Kind: Topic, Topic: t}
	}
	if t := r.term(); t != nil && r.isShort() {
		return Reading{Kind: Term, Term: t}
	}
	return Reading{Kind: Unknown}
}

// termWords begin a question for a meaning.
var termWords = phrasesOf("what is|what are|what does|what do|explain|define|meaning of|meaning|what means|what a|what")

// isShort reports whether the text is hardly more than a term.
func (r *reader) isShort() bool { return len(r.tokens) <= 5 && !r.holdsNumber() }

// doubtWords make a number someone else's, a wish, or the past.
var doubtWords = phrasesOf("should|would|could|if|want|wanted|wants|going to|try|trying|tomorrow|yesterday|last time|last week|previously|earlier|friend|friends|someone|everyone|people|online|" +
	"they|forum|video|supposed|recommended|recommend|you said|you told|you say|proposal|proposed|suggested|instead|maybe|perhaps|used to|usually|normally|wish|hope|hoping|expect|expected|" +
	"planned|planning|plan|allowed|let me|lets|next time|another pc|other pc|his|her|brother|will|might|cannot set|could not set|rather|minus|limit is|the limit|never set|before that|old|default is")

// doubtful reports whether the text does not plainly tell what is.
func (r *reader) doubtful() bool {
	for i := range r.tokens {
		if r.tokens[i].label {
			continue // "Time that you want to spend in all: 10 h"
		}
		for _, p := range doubtWords {
			n := r.exactAt(i, p.words)
			if n == 0 {
				continue
			}
			if (p.words[0] == "will" || p.words[0] == "would") && wordAt(r.tokens, i+1) == "not" {
				continue // will not boot
			}
			if p.words[0] == "the" && strings.HasPrefix(strings.Join(p.words, " "), "the limit") && r.asksLimit() {
				continue
			}
			return true
		}
	}
	return false
}

func (r *reader) asksLimit() bool {
	for _, f := range r.scene.Fields {
		if strings.Contains(f.Name, "limit") {
			return true
		}
	}
	return false
}
