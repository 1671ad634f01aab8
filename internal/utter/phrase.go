package utter

import (
	"slices"
	"strings"
)

// phrase is a few words in order.
type phrase struct {
	words []string
	means string
}

func phrases(table map[string]string) []phrase {
	var out []phrase
	for means, list := range table {
		for _, p := range phrasesOf(list) {
			p.means = means
			out = append(out, p)
		}
	}
	longestFirst(out)
	return out
}

func phrasesOf(list string) []phrase {
	var out []phrase
	for _, p := range strings.Split(list, "|") {
		out = append(out, phrase{words: strings.Fields(p)})
	}
	longestFirst(out)
	return out
}

// longestFirst sorts so that the order does not depend on that of a map.
func longestFirst(list []phrase) {
	slices.SortFunc(list, func(a, b phrase) int {
		if d := len(b.words) - len(a.words); d != 0 {
			return d
		}
		return strings.Compare(strings.Join(a.words, " ")+a.means, strings.Join(b.words, " ")+b.means)
	})
}

// contractions spell out what the apostrophe or haste took away.
var contractions = map[string][]string{
	"didnt": {"did", "not"}, "doesnt": {"does", "not"}, "dont": {"do", "not"}, "wont": {"will", "not"}, "cant": {"cannot"}, "couldnt": {"could", "not"},
	"wasnt": {"was", "not"}, "isnt": {"is", "not"}, "arent": {"are", "not"}, "wouldnt": {"would", "not"}, "havent": {"have", "not"}, "hasnt": {"has", "not"},
	"whats": {"what", "is"}, "wheres": {"where", "is"}, "im": {"i", "am"}, "ive": {"i", "have"}, "its": {"it", "is"}, "thats": {"that", "is"}, "gonna": {"going", "to"},
	"wanna": {"want", "to"}, "hows": {"how", "is"}, "ill": {"i", "will"}, "id": {"i", "would"}, "theres": {"there", "is"}, "whys": {"why", "is"}, "werent": {"were", "not"},
}

// expand puts the words of a contraction in its place.
func expand(in []token) []token {
	var out []token
	for i, t := range in {
		if words := contractions[t.text]; t.kind == word && words != nil {
			for _, w := range words {
				c := t
				c.text = w
				out = append(out, c)
			}
			continue
		}
		if t.kind == word && t.text == "can" && wordAt(in, i+1) == "not" {
			t.text = "cannot"
			out = append(out, t)
			continue
		}
		if t.kind == word && t.text == "not" && wordAt(in, i-1) == "can" {
			continue
		}
		out = append(out, t)
	}
	return out
}

// matchAt returns how many tokens from i on say the words of p; a comma or
// any other mark ends it. An empty result means no match.
func (r *reader) matchAt(i int, words []string) int {
	return r.match(i, words, r.same)
}

// exactAt is matchAt without forgiving a slip.
func (r *reader) exactAt(i int, words []string) int {
	return r.match(i, words, func(typed, known string) bool { return typed == known })
}

func (r *reader) match(i int, words []string, same func(typed, known string) bool) int {
	n := 0
	for _, w := range words {
		if i+n >= len(r.tokens) {
			return 0
		}
		t := r.tokens[i+n]
		if t.kind == num && (t.raw == w || t.text == w) { // "2 steps back"
			n++
			continue
		}
		if t.kind != word || !same(t.text, w) {
			return 0
		}
		n++
	}
	return n
}

// same compares a typed word with a known one. A slip of the keyboard is
// forgiven in long words, unless it makes another known word.
func (r *reader) same(typed, known string) bool {
	if typed == known {
		return true
	}
	if len(known) < 5 || len(typed) < 4 || typed[0] != known[0] || r.known[typed] || r.labels[typed] || plainWords[typed] {
		return false
	}
	limit := 1
	if len(known) >= 9 {
		limit = 2
	}
	if d := len(typed) - len(known); d > limit || -d > limit {
		return false
	}
	return distance(typed, known) <= limit
}

// plainWords are everyday words that lie one slip from a known word and are
// not to be read as that. Found by trying the words of long texts.
var plainWords = setOf(strings.Fields(`
alone alter answers backs baked balcony barely beast began begin begins begun beside bested blank block blocks boast boom boosting bother brace breaks
bring broom brothers burn burns bursts bursty button buttons cached calculating calculations calculator cared cares carry cash catch chance channels
charge charged chat chats cheap cheat chest choices chore chose clap clash clashing cleaner cleaning cleans clear cleared clearly clears click clicked
clicks clip cloak clocks clone close closed closer coarse coast coded codes cold collection comes compelled compete complete completes complied
compute computed computers confuse connection continued coolest cooper cores correction corruption counts county couple course court crept crest crops
crushed cures cycle damaged dancer declined depth display dollar dormal drip drop drops dye early eater enable erro exact expert explains fails falls
fasted feast filed finale fired fixer flick flip formal foster frames freed freeing frequent frequently fried frost grace guess guest halved handed
hands happens heart heat held help hers hit holes hopes horses hosted hosts hot hours instruction interrupt issued jested knows lacked lacks lasted
lasts least lever lifted listen loader loads locker longer looks lookup lower machines manuals match meant measure measures media meeting mending meta
metal mighty minds mines mirror mistaken modes moose mouse moved moves multiple muse nearly nested never newer noises noisy normal nothing numbers
offsets online options other others outcome overhead paint parsed passage past paste pasted patch paused pauses performances phone phones photo phrase
place plate portion possibly posted powder power preset presets print prints prober process profiles proper propose pulse quite quote radio raise
rarely ration rations reaches readings ready reasons related remaining remember repairing reporting resist resort rest rested restored restoring
resumed retaining rights risks roast room root rooted roots roundings scared scope scopes score scored screens second seed sell sells sensors sessions
setting settling share shell shoot short shot shout shower shown shows signals skill slap slots slow slower small smart snap sold sore sorry sort
source spare spares spark spell spend spill stack stacks stages stake stale stall staple stare stars started starter state stated states static stats
steep stems stepped steps stick sticky stock stone stop stops store stored stores story strict suggest suppose switches systems taken terror tested
theme there thermal these thick thin thing think thinks thorough though thread threat ties tiles timed timer timers times toast today token tone tones
totals tower trace trail tramp trap trashed tree trees trials tried trip trips trying tuned turned tying types understand understood until vague value
valve vested voltages wages waited waiter wants wasted watch water waters wested whale while white whose windows worked workers workload world worries
worry wrap writer wrongs zone`))

// distance is the number of slips between two words: a letter too many, one
// missing, a wrong one, or two swapped (optimal string alignment).
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	rows := make([][]int, len(x)+1)
	for i := range rows {
		rows[i] = make([]int, len(y)+1)
		rows[i][0] = i
	}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(x); i++ {
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			d := min(rows[i-1][j]+1, rows[i][j-1]+1, rows[i-1][j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				d = min(d, rows[i-2][j-2]+1)
			}
			rows[i][j] = d
		}
	}
	return rows[len(x)][len(y)]
}
