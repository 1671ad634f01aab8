package utter

import (
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"belay/internal/flow"
	"belay/internal/session"
	"belay/internal/trial"
)

// FuzzRead holds the parser to what must never happen: a panic, a value
// outside its field's range, a number that is not in the text, a choice that
// the field does not have.
func FuzzRead(f *testing.F) {
	g := desktop(f)
	for i, u := range readCorpus(f, g) {
		if i%7 == 0 {
			f.Add(u.text, uint8(i))
		}
	}
	for _, text := range []string{"", " ", "°", "1e999", "1.2.3.4", "-", "+-1", "½", "1\u00a0265 mV", "0x1F", "٣٫٥ V", "NaN V", "\xff\xfe 1.2 V", "一.二 V", "86 ℃", "9999999999999999999999 W", "1,2,3", "a hundred thousand point", "16-19-19-39-"} {
		f.Add(text, uint8(len(text)))
	}
	states := askingStates(g)
	f.Fuzz(func(t *testing.T, text string, n uint8) {
		if len(text) > 2000 {
			return // the use case refuses more than 500 characters
		}
		state := states[int(n)%len(states)]
		scene := Scene{Fields: fieldsOf(g, state), Trial: g.State(state).Trial, Terms: g.Glossary, Now: trial.Settings{SetVoltage: 1.25, DataRate: 3600}}
		checkReading(t, text, scene, Read(text, scene))
	})
}

func askingStates(g *flow.Graph) []string {
	var out []string
	for _, st := range g.States {
		if len(st.Fields) > 0 {
			out = append(out, st.ID)
		}
	}
	return out
}

func checkReading(t *testing.T, text string, scene Scene, got Reading) {
	t.Helper()
	require.Len(t, got.Found, len(got.Values))
	for _, f := range got.Found {
		field := f.Field
		require.Contains(t, got.Values, field.Name)
		switch v := f.Value.(type) {
		case float64:
			require.True(t, fits(field, v), "%s = %v", field.Name, v)
			require.True(t, inText(text, v), "%v (%s) is not in %q", v, field.Name, text)
		case string:
			checkText(t, text, field, v)
		case []trial.Row:
			require.GreaterOrEqual(t, len(v), field.Rows[0])
			require.LessOrEqual(t, len(v), field.Rows[1])
			for _, row := range v {
				for _, c := range field.Columns {
					require.True(t, fits(c, row[c.Name]))
					require.True(t, inText(text, row[c.Name]))
				}
			}
		case bool:
			require.Equal(t, "yesno", field.Kind)
		default:
			t.Fatalf("%s has a %T", field.Name, v)
		}
	}
	switch got.Kind {
	case Draft:
		require.NotEmpty(t, got.Found)
	case Asked:
		require.True(t, len(got.Asks) > 0 || len(got.Aside) > 0)
	case Term:
		require.NotNil(t, got.Term)
	}
	if got.Kind != Draft {
		require.Empty(t, got.Values)
	}
	for _, line := range got.ReadBack(scene) {
		require.NotEmpty(t, line)
	}
	require.LessOrEqual(t, len(got.Choices(scene)), 5)
}

func checkText(t *testing.T, text string, field session.Field, v string) {
	t.Helper()
	if field.Kind == "text" {
		require.Contains(t, text, v, "a text is taken as it was typed")
		require.True(t, utf8.ValidString(v))
		return
	}
	ok := false
	for _, c := range field.Choices {
		ok = ok || c.Value == v
	}
	require.True(t, ok, "%s has no choice %q", field.Name, v)
}

var digitsOf = regexp.MustCompile(`[0-9]+(?:[.,][0-9]+)?|\.[0-9]+`)

// inText reports whether v can come from the numbers of the text: as it
// stands, in another unit, or as sums of spans of time. It shares nothing
// with the parser but the words for numbers, whose digits it only counts.
func inText(text string, v float64) bool {
	lower := strings.ToLower(text)
	var found []float64
	for _, d := range digitsOf.FindAllString(lower, -1) {
		if x, err := strconv.ParseFloat(strings.Replace(d, ",", ".", 1), 64); err == nil {
			found = append(found, x)
		}
	}
	for _, w := range []string{"zero", "no ", "no\u00a0", "without", "free", "none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve", "teen", "ty", "hundred", "thousand", "half", "quarter", "hour", "hr", "min", "sec"} {
		if strings.Contains(lower, w) && wordsAllow(lower) {
			return true // numbers in words are checked by TestNumberWords
		}
	}
	for i, x := range found {
		if close(x, v) {
			return true
		}
		for _, y := range found[i+1:] {
			for _, sum := range []float64{60*x + y, x + y/60, 60*x + y/60} {
				if math.Abs(sum-v) < 0.002 {
					return true
				}
			}
			for _, z := range found {
				if math.Abs(60*x+y+z/60-v) < 0.002 {
					return true
				}
			}
		}
	}
	return v == 0 && regexp.MustCompile(`\bno\W`).MatchString(lower)
}

// wordsAllow reports whether the text has number words at all.
func wordsAllow(lower string) bool {
	for _, w := range strings.FieldsFunc(lower, notWord) {
		if _, ok := ones[w]; ok {
			return true
		}
		if _, ok := tens[w]; ok {
			return true
		}
		if w == "hundred" || w == "half" || w == "quarter" || w == "a" || w == "an" || w == "no" || w == "without" || w == "free" || w == "none" {
			return true
		}
	}
	return false
}

// close compares a number of the text with a value in any unit of the guide.
func close(x, v float64) bool {
	for _, y := range []float64{x, -x, x / 1000, -x / 1000, x * 1000, -x * 1000, x * 60, x / 60, (x - 32) * 5 / 9, (-x - 32) * 5 / 9} {
		if math.Abs(y-v) < 0.06*boolFloat(y != x) || math.Abs(y-v) < 1e-9*math.Max(1, math.Abs(v)) {
			return true
		}
	}
	return false
}

func boolFloat(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func TestNumberWords(t *testing.T) {
	for text, want := range map[string]string{
		"forty nine": "49", "forty-nine": "49", "a hundred and twenty five": "125", "seven hundred fifty": "750", "three thousand six hundred": "3600",
		"one point two six five": "1.265", "eighty": "80", "nineteen": "19", "half an hour": "0.5", "a quarter of an hour": "0.25", "an hour": "1", "zero": "0",
	} {
		tokens := spelled(lex(text))
		require.Equal(t, num, tokens[0].kind, text)
		require.Equal(t, want, tokens[0].raw, text)
	}
}

// TestMixedUtterances runs the same checks over halves of corpus lines put
// together in other states. The seed is fixed, so that each run is the same.
func TestMixedUtterances(t *testing.T) {
	g := desktop(t)
	corpus := readCorpus(t, g)
	states := askingStates(g)
	rnd := rand.New(rand.NewPCG(1, 2))
	half := func() string {
		words := strings.Fields(corpus[rnd.IntN(len(corpus))].text)
		if len(words) == 0 {
			return ""
		}
		at := rnd.IntN(len(words) + 1)
		if rnd.IntN(2) == 0 {
			return strings.Join(words[:at], " ")
		}
		return strings.Join(words[at:], " ")
	}
	drafts := 0
	for range 1000 {
		state := states[rnd.IntN(len(states))]
		text := half() + []string{" ", ", ", "", " and ", "; "}[rnd.IntN(5)] + half()
		scene := Scene{Fields: fieldsOf(g, state), Trial: g.State(state).Trial, Terms: g.Glossary, Now: trial.Settings{SetVoltage: 1.25, DataRate: 3600}}
		got := Read(text, scene)
		checkReading(t, text, scene, got)
		if got.Kind == Draft {
			drafts++
		}
	}
	require.Greater(t, drafts, 100, "the mixtures have to reach the values")
}
