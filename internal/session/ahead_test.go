package session

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
)

// Every step that enters settings and restarts knows what follows, what to do
// when the PC does not come up, and the way back with its warning.
func TestAheadOfEveryRestart(t *testing.T) {
	s := begin(t).state()
	confirming := 0
	for _, st := range s.graph.States {
		at := s.as(st.ID)
		at.Proposal = &trial.Proposal{Settings: trial.Settings{Ratio: 50, SetVoltage: 1.25}}
		back := at.WayBack()
		require.NotNil(t, back, st.ID)
		require.True(t, slices.ContainsFunc(back.Cautions, func(c Caution) bool { return c.Signal == "WARNING" }), "%s: mains", st.ID)
		if !st.Confirms || !st.Restarts {
			continue
		}
		confirming++
		next := at.Next()
		require.NotNil(t, next, st.ID)
		ahead := at.Ahead()
		require.NotEmpty(t, ahead, st.ID)
		require.Equal(t, trial.NoBoot, ahead[0].Outcome, "%s: the gravest first", st.ID)
		for _, a := range ahead {
			require.Equal(t, st.Stage, a.Prompt.Stage)
			require.NotEmpty(t, a.Prompt.Messages)
		}
	}
	require.GreaterOrEqual(t, confirming, 8)
}

// The steps ahead speak of the settings as if they were entered.
func TestAheadKnowsWhatIsEntered(t *testing.T) {
	s := begin(t).state()
	s.At = "core.enter"
	s.Settings = trial.Settings{Ratio: 49, SetVoltage: 1.235}
	s.Proposal = &trial.Proposal{Settings: trial.Settings{Ratio: 50, SetVoltage: 1.255}, Load: trial.Scalar, Minutes: 10}
	require.Equal(t, "core.run", s.Next().State)
	require.Contains(t, s.Ahead()[0].Prompt.Messages[0].Text, "ratio 50")
	require.Equal(t, "core.no-boot", s.WayBack().State)
	require.Equal(t, trial.Settings{Ratio: 49, SetVoltage: 1.235}, s.Settings, "looking ahead changes nothing")
	s.At = "core.run"
	require.Nil(t, s.Next(), "the outcome decides")
	require.Len(t, s.Ahead(), 3)
}
