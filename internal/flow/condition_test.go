package flow

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/trial"
)

func TestConditionHolds(t *testing.T) {
	g := goodGraph(t)
	report := g.State("core.run").Action("report").Branches
	decide := g.State("core.hot").Action("decide").Branches[0].When
	auto := g.State("core.enter").Auto[0].When
	for _, c := range []struct {
		name   string
		when   *Condition
		answer trial.Values
		facts  Facts
		plan   Plan
		want   bool
	}{
		{"equal", report[0].When, trial.Values{"outcome": "error"}, Facts{}, Plan{}, true},
		{"unequal", report[0].When, trial.Values{"outcome": "clean"}, Facts{}, Plan{}, false},
		{"in", report[1].When, trial.Values{"outcome": "no_boot"}, Facts{}, Plan{}, true},
		{"not in", report[1].When, trial.Values{"outcome": "error"}, Facts{}, Plan{}, false},
		{"fact", decide, trial.Values{"again": true}, Facts{FailuresInRow: 2}, Plan{}, true},
		{"fact too large", decide, trial.Values{"again": true}, Facts{FailuresInRow: 3}, Plan{}, false},
		{"no", decide, trial.Values{"again": false}, Facts{}, Plan{}, false},
		{"plan", auto, nil, Facts{}, Plan{Blocked: true}, true},
		{"plan goes on", auto, nil, Facts{}, Plan{Proposed: true}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := c.when.Holds(c.answer, c.facts, c.plan)
			require.NoError(t, err)
			require.Equal(t, c.want, got)
		})
	}
}

func TestConditionIsNeverFalseByMistake(t *testing.T) {
	g := goodGraph(t)
	when := g.State("core.enter").Action("entered").Branches[0].When
	for name, answer := range map[string]trial.Values{
		"no answer": nil, "a text": {"ratio": "61"}, "a whole number of Go": {"ratio": 61},
	} {
		_, err := when.Holds(answer, Facts{}, Plan{})
		require.True(t, fault.Is(err, fault.Internal), "%s: %v", name, err)
	}
}

// testFields are the fields that TestCompile may ask for.
func testFields(name string) *Field {
	return map[string]*Field{
		"n": {Name: "n", Kind: number}, "m": {Name: "m", Kind: number}, "t": {Name: "t", Kind: text}, "y": {Name: "y", Kind: yesno},
		"c": {Name: "c", Kind: choice, Choices: []Choice{{Value: "a"}, {Value: "b"}}}, "r": {Name: "r", Kind: readings},
	}[name]
}

func TestCompile(t *testing.T) {
	asks := []ask{{"n", number, false}, {"m", number, true}, {"t", text, false}, {"y", yesno, false}, {"c", choice, false}}
	in := scope{asks: asks, hasPlan: true, field: testFields, stages: []string{"core", "memory"}}
	for _, source := range []string{
		"true", "answer.y", "!answer.y", "answer.n * 2 - 1 >= -answer.m", `answer.t + "x" == "yx"`, `answer.c in ["a", "b"]`,
		"answer.n in [1, 2.5]", `answer["n"] > 1`, "fact.gain_percent > 1 && (plan.done || fact.practice)", `answer.c == ""`,
		`fact.suspect != "core"`, "fact.trials_here + 1 > answer.n",
	} {
		_, bad := compile(source, in)
		require.Nil(t, bad, "%s: %+v", source, bad)
	}
	for source, message := range map[string]string{
		"":                                  "cannot be read",
		"answer.n":                          "neither true nor false: it gives a number",
		"1":                                 "neither true nor false",
		"answer.n ? true : false":           "no ?:",
		"answer.n / 2 > 1":                  `"/" is not used`,
		"answer.n % 2 == 1":                 `"%" is not used`,
		"answer.n ** 2 > 1":                 `"**" is not used`,
		`answer.t contains "x"`:             `"contains" is not used`,
		`answer.t matches "x"`:              `"matches" is not used`,
		"answer.y and true":                 `"and" is not used`,
		"not answer.y":                      `"not" is not used`,
		"answer.n in 1..3":                  "must be a list",
		"1..3 == 2":                         `".." is not used`,
		"now() == 1":                        "calls no functions",
		"all([1], # > 0)":                   "calls no functions",
		"answer.y ?? true":                  `"??" is not used`,
		"answer?.y":                         "no place in a condition",
		"answer == 1":                       `"answer" stands alone`,
		"env.n == 1":                        `"env" is not a name`,
		"$env.n == 1":                       `"$env" is not a name`,
		"answer.n.m == 1":                   "not a name that a condition knows",
		"let x = 1; x == 1":                 "no place in a condition",
		"{a: 1}.a == 1":                     "not a name that a condition knows",
		"[1,2][0] == 1":                     "not a name that a condition knows",
		"answer.t[0:1] == \"a\"":            "no place in a condition",
		"answer.n == nil":                   "does not know nil",
		`answer.n == "1"`:                   "does not fit: invalid operation: == (it joins a number and a text)",
		`answer.c == "d"`:                   `"d" is not a choice of c`,
		`answer.c in ["a", "d"]`:            `"d" is not a choice of c`,
		`"d" != answer.c`:                   `"d" is not a choice of c`,
		`fact.suspect == "cores"`:           `"cores" is not a stage`,
		"answer.r == 1":                     "holds readings",
		"answer.z == 1":                     "not a field",
		"fact.moon":                         `no fact called "moon"`,
		"plan.don":                          `no plan called "don"`,
		"answer.n > 1 && answer.n":          "does not fit",
		"answer.n >":                        "cannot be read",
		"answer.n > 1; true":                "",
		b300("answer.n > 1"):                "more than 300 characters",
		"b\"x\" == b\"y\"":                  "no place in a condition",
		"answer.n > 1 | all(# > 1)":         "",
		"!!!!(answer.n":                     "cannot be read",
		"answer.y == true == answer":        "stands alone",
		"if answer.y { true } else {false}": "",
	} {
		_, bad := compile(source, in)
		require.NotNil(t, bad, source)
		require.Contains(t, bad.message, message, source)
		require.NotEmpty(t, bad.next, source)
	}
}

func b300(s string) string {
	for len(s) <= maxCondition {
		s += " && " + s
	}
	return s
}

func TestOpenFieldReadsAsNothing(t *testing.T) {
	for _, c := range []struct {
		kind, source string
	}{{number, "answer.m == 0"}, {text, `answer.m == ""`}, {yesno, "!answer.m"}, {choice, `answer.m == ""`}} {
		field := func(string) *Field { return &Field{Kind: c.kind} }
		when, bad := compile(c.source, scope{asks: []ask{{"m", c.kind, true}}, field: field})
		require.Nil(t, bad)
		got, err := when.Holds(nil, Facts{}, Plan{})
		require.NoError(t, err)
		require.True(t, got, c.source)
	}
}

func TestConditionsAreSafeToShare(t *testing.T) {
	when := goodGraph(t).State("core.enter").Action("entered").Branches[0].When
	done := make(chan error)
	for i := range 8 {
		go func() {
			for range 200 {
				got, err := when.Holds(trial.Values{"ratio": float64(57 + i)}, Facts{}, Plan{})
				if err != nil || got != (i > 3) {
					done <- fault.Newf(fault.Internal, "", "%d gave %v, %v", i, got, err)
					return
				}
			}
			done <- nil
		}()
	}
	for range 8 {
		require.NoError(t, <-done)
	}
}

func TestSentences(t *testing.T) {
	for in, want := range map[string][]int{
		"":                                nil,
		"One two.":                        {2},
		"At 1.25 V it holds. Good!":       {5, 1},
		"One\n\ntwo three":                {1, 2},
		"One (two). \"Three four.\" Five": {2, 2, 1},
		"A – b":                           {2},
	} {
		var got []int
		for _, s := range sentences(in) {
			got = append(got, words(s))
		}
		require.Equal(t, want, got, in)
	}
	require.Equal(t, "the load line at x", shown("[[load line|the load line]] at {ratio}"))
	require.Equal(t, "load line", shown("[[load line]]"))
}

func TestMeant(t *testing.T) {
	require.Equal(t, `Did you mean "froze"?`, meant("frozen", failing()))
	require.Equal(t, "Known here: a, b.", meant("zebra", []string{"b", "a"}))
	require.Equal(t, 3, distance("kitten", "sitting"), "Wagner and Fischer 1974, the usual example, from memory")
	require.Equal(t, 4, distance("", "four"))
}
