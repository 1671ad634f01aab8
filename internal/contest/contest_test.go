package contest

import (
	"context"
	"encoding/json"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/flows"
	"belay/internal/fault"
	"belay/internal/flow"
	"belay/internal/virtualrig"
)

func options(t testing.TB, rigs int, v virtualrig.Variant, names ...string) Options {
	t.Helper()
	g, err := flow.Load(flows.FS, "desktop")
	require.NoError(t, err)
	return Options{Rigs: rigs, Seed: 1, Variant: v, Strategies: names, Limits: g.Platform.Limits, TargetH: 500}
}

// TestTheSameWhateverTheProcessors also counts the calls about progress.
func TestTheSameWhateverTheProcessors(t *testing.T) {
	run := func(processors int) string {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
		calls := make(chan int, 100)
		r, err := Run(context.Background(), options(t, 4, virtualrig.Worst, "guided"), func(done, all int) {
			require.Equal(t, 4, all)
			calls <- done
		})
		require.NoError(t, err)
		require.Len(t, calls, 4)
		body, err := json.Marshal(r)
		require.NoError(t, err)
		return string(body)
	}
	require.Equal(t, run(1), run(3))
}

func TestOptionsAreChecked(t *testing.T) {
	for name, spoil := range map[string]func(*Options){
		"no rigs":          func(o *Options) { o.Rigs = 0 },
		"unknown variant":  func(o *Options) { o.Variant = "lucky" },
		"unknown strategy": func(o *Options) { o.Strategies = []string{"hope"} },
		"no strategy":      func(o *Options) { o.Strategies = nil },
		"no target":        func(o *Options) { o.TargetH = 0 },
	} {
		o := options(t, 1, virtualrig.Own, "guided")
		spoil(&o)
		_, err := Run(context.Background(), o, nil)
		require.True(t, fault.Is(err, fault.Invalid), name)
	}
}

func TestStopsWhenTold(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := Run(ctx, options(t, 3, virtualrig.Own, "guided"), nil)
	require.ErrorIs(t, err, context.Canceled)
}
