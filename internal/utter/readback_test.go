package utter

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
	"belay/internal/wording"
)

func sceneAt(t testing.TB, state string) Scene {
	t.Helper()
	g := desktop(t)
	return Scene{
		Fields: fieldsOf(g, state), Trial: g.State(state).Trial, Terms: g.Glossary,
		Now: trial.Settings{Ratio: 48, SetVoltage: 1.25}, Next: trial.Settings{Ratio: 49, SetVoltage: 1.265},
	}
}

func plainLines(lines []string) string {
	return strings.ReplaceAll(strings.Join(lines, "\n"), wording.NBSP, " ")
}

func TestReadBackSaysUnitAndChange(t *testing.T) {
	s := sceneAt(t, "core.enter")
	require.Equal(t, "Core ratio on all cores: 48×, the same as before. The proposal is 49×.\n"+
		"Core voltage, as set: 1.235 V, 0.015 V lower than before. The proposal is 1.265 V.", plainLines(Read("1.235 and 48", s).ReadBack(s)))
	require.Equal(t, "Core voltage, as set: 1.265 V, 0.015 V higher than before.", plainLines(Read("1265 mV", s).ReadBack(s)))
	require.Contains(t, plainLines(Read("vcore 1.2655", s).ReadBack(s)), "1.2655 V", "what is read back is what would be saved")
}

func TestReadBackOfAReport(t *testing.T) {
	s := sceneAt(t, "core.run")
	require.Equal(t, "How did the trial end? Froze: the picture stood still and nothing answered.\n"+
		"Time from the start of the load to the failure: 7.333 min.\nHottest core: 86.1 °C. It is not needed after this answer.",
		plainLines(Read("froze after 7 min 20 s, 187 F", s).ReadBack(s)))
}

// TestEachChoiceAnswersWhatIsAsked says every offered sentence again.
func TestEachChoiceAnswersWhatIsAsked(t *testing.T) {
	offered := 0
	for _, u := range readCorpus(t, desktop(t)) {
		got := Read(u.text, u.scene)
		choices := got.Choices(u.scene)
		require.LessOrEqual(t, len(choices), 5)
		for _, c := range choices {
			offered++
			again := Read(c, u.scene)
			require.Equal(t, Draft, again.Kind, "%q for %q", c, u.text)
			require.Empty(t, again.Asks, "%q for %q", c, u.text)
			for name, v := range got.Values {
				require.Equal(t, v, again.Values[name], "%q for %q", c, u.text)
			}
		}
	}
	require.Greater(t, offered, 50)
	require.Equal(t, []string{"core voltage 1.265 V"}, Read("1,265", sceneAt(t, "core.enter")).Choices(sceneAt(t, "core.enter")))
}
