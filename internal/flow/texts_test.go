package flow

import (
	"reflect"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestEveryPartIsChecked breaks each text once, and leaves each part out that
// must be there. The texts of checks themselves are in testdata/broken.
func TestEveryPartIsChecked(t *testing.T) {
	const flow, cautions, glossary, platform, causes = "small.yaml", cautionsFile, glossaryFile, "platforms/bench.yaml", causesFile
	for _, c := range []struct{ file, old, new, want string }{
		{flow, "version: 1\n", "", "small.yaml:2:1: The flow has no version."},
		{flow, "title: A small guide\n", "", "small.yaml:2:1: This flow has no title."},
		{flow, "stop: stopped\n", "stop: \"\"\n", "small.yaml:6:7: This flow has no stop."},
		{flow, "  - id: core\n", "  - id: Core\n", `small.yaml:9:9: The stage cannot be called "Core".`},
		{flow, "  - id: sheet\n", "  - id: core\n", `There are two stages called "core".`},
		{flow, "    purpose: Keep what was found.\n", "", "small.yaml:14:5: This stage has no purpose."},
		{flow, "title: Sheet\n", "title: A {keep} sheet\n", "small.yaml:15:14: A text outside a step holds no placeholders."},
		{flow, "purpose: Keep what", "purpose: Keep [[whatever]] what", `The glossary has no term "whatever".`},
		{flow, "    label: Core ratio\n", "", "small.yaml:19:5: This field has no label."},
		{flow, "label: Core ratio\n", "label: Core {ration}\n", "There is no placeholder {ration}."},
		{flow, "where: In the firmware setup.", "where: In [[the setup]].", `The glossary has no term "the setup".`},
		{flow, "value: clean, label: It ran its whole time", "value: clean, label: \"\"", "This choice has no label."},
		{flow, "label: It ran its whole time", `label: "It ran {min}"`, "There is no placeholder {min}."},
		{flow, "label: These are in the firmware now", `label: ""`, "This action has no label."},
		{flow, "label: These are in the firmware now", `label: "These are {here}"`, "There is no placeholder {here}."},
		{flow, "touches: [clear-settings]", "touches: [clear-setting]", `There is no hazard called "clear-setting".`},
		{flow, "    say: The load checks its own results.\n", "", "This state has no say."},
		{cautions, "hazard: This step sets {set_voltage}.", "hazard: This step sets {volts}.", "cautions.yaml:5:28: There is no placeholder {volts}."},
		{glossary, "text: The voltage as typed.", `text: ""`, "This term has no text."},
		{glossary, "text: The voltage as typed.", `text: "The {set_voltage}."`, "glossary.yaml:5:36: A text outside a step holds no placeholders."},
		{glossary, "[[set voltage]]", "[[set volts]]", `The glossary has no term "set volts".`},
		{platform, "title: A bench platform\n", "", "platforms/bench.yaml:1:1: This platform has no title."},
		{causes, "title: The kit", "title: The {kit}", "A text outside a step holds no placeholders."},
		{causes, "explain: The kit", "explain: The [[kit]]", `The glossary has no term "kit".`},
		{causes, "title: Again", `title: "Again {load}"`, "A text outside a step holds no placeholders."},
		{causes, "how: Run it again.", `how: "Run {load}."`, "A text outside a step holds no placeholders."},
	} {
		files := broken{edits: []edit{{c.file, c.old, c.new}}}.files(t)
		_, err := Load(files, "small")
		require.ErrorContains(t, err, c.want)
	}
}

func TestDecodeRefusesOtherTypes(t *testing.T) {
	var problems Problems
	d := newDocument("x.yaml", "a: 1", &problems)
	var into struct {
		A uint8 `yaml:"a"`
	}
	d.decode(d.read("a: 1"), reflect.ValueOf(&into).Elem(), "")
	require.ErrorContains(t, problems.failed(), "x.yaml:1:4: a cannot be read from a file.")
}
