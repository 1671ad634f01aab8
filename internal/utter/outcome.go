package utter

import (
	"slices"
	"strings"

	"belay/internal/session"
)

// noErrors say that the check found none.
var noErrors = phrasesOf("no errors|no error|zero errors|0 errors|without errors|without error|without any errors|without an error|error free|no errors found|no single error|not a single error|errors none")

// neutral are words that only look like an outcome.
var neutral = phrasesOf("error code|error codes|reset the|ok but|power button|errors found|time to failure|not sure|good evening|good morning|good day|restart button|stop here")

var negations = setOf(strings.Fields("not no never without nothing hardly neither"))

// outcomes finds how the trial ended.
func (r *reader) outcomes() {
	field, ok := r.fields["outcome"]
	if !ok {
		return
	}
	var heard []string
	hear := func(what, from string) {
		if !slices.Contains(heard, what) {
			heard = append(heard, what)
		}
		if what != crash {
			r.take("outcome", what, from)
		}
	}
	for i := 0; i < len(r.tokens); i++ {
		if n := r.oneOf(i, noErrors); n > 0 {
			if _, asked := r.fields["errors_found"]; asked {
				r.take("errors_found", 0.0, r.piece(i, i+n))
			}
			r.use(i, n)
			i += n - 1
			continue
		}
		if n := r.oneOf(i, neutral); n > 0 {
			i += n - 1
			continue
		}
		for _, p := range outcomes {
			n := r.matchAt(i, p.words)
			if n == 0 {
				continue
			}
			negated := i > 0 && negations[wordAt(r.tokens, i-1)] || i > 1 && negations[wordAt(r.tokens, i-2)] && wordAt(r.tokens, i-1) != ""
			switch {
			case negated && p.means == "clean":
				hear(crash, r.piece(i, i+n))
			case negated: // "did not crash" tells what did not happen
			case p.means == "error" && i > 0 && r.tokens[i-1].kind == num && r.tokens[i-1].value == 0:
			default:
				hear(p.means, r.piece(i, i+n))
			}
			r.use(i, n)
			i += n - 1
			break
		}
	}
	if r.heard = len(heard) > 0; r.heard && r.says(openEnds) {
		heard = append(heard, crash, "clean") // "froze or something": not settled
	}
	r.judge(heard, field)
}

// openEnds leave open what was meant.
var openEnds = phrasesOf("or something|or whatever|or similar|or so i think|or what|or maybe")

// judge settles what several words for the outcome mean together.
func (r *reader) judge(heard []string, field session.Field) {
	if len(heard) == 2 && heard[0] == "clean" && fails[heard[1]] && r.says(turns) {
		heard = heard[1:] // "was fine for 9 min, then restarted"
		r.taken["outcome"] = slices.DeleteFunc(r.taken["outcome"], func(t taken) bool { return t.value == "clean" })
		if len(r.taken["outcome"]) == 0 {
			delete(r.taken, "outcome")
		}
	}
	specific := slices.DeleteFunc(slices.Clone(heard), func(w string) bool { return w == crash })
	vague := len(specific) < len(heard)
	switch {
	case len(heard) == 0:
	case len(specific) == 1 && (!vague || fails[specific[0]] || specific[0] == "no_boot"):
		r.outcome = specific[0]
	default: // crash alone, or words that contradict each other
		delete(r.taken, "outcome")
		r.ask(Unclear, strings.TrimSpace(r.text), nil, field.Name)
		if r.outcome = crash; len(specific) > 0 && !fails[specific[0]] {
			r.outcome = ""
		}
	}
}

// turns tell that what was said first did not last.
var turns = phrasesOf("then|until|till|before")

func (r *reader) oneOf(i int, list []phrase) int {
	for _, p := range list {
		if n := r.matchAt(i, p.words); n > 0 {
			return n
		}
	}
	return 0
}
