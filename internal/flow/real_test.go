package flow

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/flows"
)

// TestFlowsOfBelay loads every guide that is built in.
func TestFlowsOfBelay(t *testing.T) {
	names, err := Names(flows.FS)
	require.NoError(t, err)
	require.Contains(t, names, "desktop")
	for _, name := range names {
		body, err := Pack(flows.FS, name)
		require.NoError(t, err)
		g, err := Unpack(body)
		require.NoError(t, err)
		require.NotEmpty(t, g.Draw())
		for _, s := range g.States {
			_, wrong := g.ParseValues(s, nil)
			require.Empty(t, wrong, s.ID)
		}
	}
}

func BenchmarkLoad(b *testing.B) {
	for b.Loop() {
		if _, err := Load(flows.FS, "desktop"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkHolds(b *testing.B) {
	when := goodGraph(b).State("core.enter").Auto[0].When
	for b.Loop() {
		if _, err := when.Holds(nil, Facts{}, Plan{}); err != nil {
			b.Fatal(err)
		}
	}
}
