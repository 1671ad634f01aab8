package page

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// After a crash the first screen says what happened, what is in force, that
// every entry is verified, and the one next action, in this order.
func TestFirstScreenAfterACrash(t *testing.T) {
	g := scenes()
	s := g.sessions["crashed"]
	d := get(t, serve(t, g), "/s/crashed")
	at := -1
	for _, want := range []string{
		`id="step"`, "The PC froze about 7\u00a0min 20\u00a0s into this trial.", "40 of 40 entries are saved and verified", "In force now:", "Core ratio 48", "Core voltage 1.235\u00a0V",
		"say below how the trial ended", `href="#report"`, `class="caution`, `id="report"`,
	} {
		i := strings.Index(d.raw, want)
		require.Greater(t, i, at, want)
		at = i
	}
	require.Equal(t, 1, strings.Count(d.raw, "into this trial."), "it is said once")
	d.requireUniqueIDs()
	d.requireHeadingOrder()

	s.prompts[0].Found.From = "load"
	require.NotContains(t, get(t, serve(t, g), "/s/crashed").raw, `class="resume"`, "nothing was interrupted")
}

func TestOutlookOnThePage(t *testing.T) {
	e := serve(t, scenes())
	for _, path := range []string{"/s/core", "/s/core/evidence"} {
		require.Contains(t, get(t, e, path).raw, "What a further hour would prove</h3>", path)
	}
	for _, path := range []string{"/s/core", "/s/core/ladder"} {
		require.Contains(t, get(t, e, path).raw, "From here it usually takes 3\u00a0h 30\u00a0min to 10\u00a0h in all.", path)
	}
}

func TestComparePage(t *testing.T) {
	e := serve(t, scenes())
	for _, query := range []string{"ids=core,done", "ids=core&ids=done"} {
		d := get(t, e, "/compare?"+query)
		require.Equal(t, http.StatusOK, d.status)
		for _, want := range []string{"Desk PC, winter", "Last spring", ">To keep<", "Differs: </span>Core ratio", "not yet", "17.2\u00a0%", "<figcaption>A: ratio"} {
			require.Contains(t, d.raw, want, query)
		}
		d.requireUniqueIDs()
		d.requireHeadingOrder()
		d.requireNoInline()
	}
	few := get(t, e, "/compare?ids=core")
	require.Equal(t, http.StatusUnprocessableEntity, few.status)
	require.Contains(t, few.raw, "A comparison takes 2 to 4 different sessions.")
	require.Equal(t, http.StatusNotFound, get(t, e, "/compare?ids=core,nobody").status)
	require.Contains(t, get(t, e, "/").raw, `name="ids" id="pick-core" value="core"`)
}
