package flow

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/heat"
	"belay/internal/loadline"
	"belay/internal/stability"
)

// TestPlatformRepeatsThePriors holds the platform that comes with Belay equal
// to the priors that the models keep in code.
func TestPlatformRepeatsThePriors(t *testing.T) {
	g, err := Load(os.DirFS("../../flows"), "desktop")
	require.NoError(t, err)
	p := g.Platform.Priors
	require.NotNil(t, p)
	require.Equal(t, stability.DefaultFamily(), p.Stability)
	require.Equal(t, heat.DefaultPrior(), p.Heat)
	require.Equal(t, loadline.DefaultPrior(), p.LoadLine)
}

func TestPriorsAreChecked(t *testing.T) {
	text, err := os.ReadFile("../../flows/platforms/mature-desktop.yaml")
	require.NoError(t, err)
	_, priors, ok := strings.Cut(string(text), "\npriors:\n")
	require.True(t, ok)
	const bench, end = "platforms/bench.yaml", `  load_line_droop_mv: "chosen: test"`
	with := func(edits ...edit) error {
		all := append([]edit{{bench, end, end + "\npriors:\n" + priors}}, edits...)
		_, err := Load(broken{edits: all}.files(t), "small")
		return err
	}
	require.NoError(t, with())
	for _, c := range []struct{ old, new, want string }{
		{"    width_v: 0.00614\n", "", "The figure width_v is missing."},
		{"width_v: 0.00614", "width: 0.00614", `"width" is not a key of`},
		{"width_v: 0.00614", "width_v: 0", "The prior's median of s is out of range."},
		{"bursty: {mean_v: 0, sd_v: 0.020}", "idle: {mean_v: 0, sd_v: 0.020}", "The prior's offset of idle is out of range."},
		{"room_c: {mean: 24, sd: 4}", "room_c: {mean: 24}", "The figure room_c.sd is missing."},
		{"room_c: {mean: 24, sd: 4}", "room_c: {mean: 240, sd: 4}", "The heat prior's room_c is out of range."},
		{"leak_share: {median: 0.12,", "leak_share: {median: 1.2,", "The heat prior's leak_share is out of range."},
		{"resistance_ohm: 0.0008", "resistance_ohm: 1.25", "The load line prior's resistance_ohm is out of range."},
		{`    room_c: "chosen: a room that people live in"` + "\n", "", "The figure room_c.mean names no source."},
		{`    room_c: "chosen: a room`, `    room: "chosen: a room`, `"room" is not a figure of this prior.`},
		{"\npriors:\n" + priors, "\nprior_sources:\n  heat: {room_c: x}\n", "There are sources of priors, but no priors."},
	} {
		require.ErrorContains(t, with(edit{bench, c.old, c.new}), c.want)
	}
}
