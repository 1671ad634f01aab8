package contest

import (
	"context"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/virtualrig"
)

// BenchmarkGuided is the time of one guided rig, its opening included.
func BenchmarkGuided(b *testing.B) {
	for _, v := range []virtualrig.Variant{virtualrig.Own, virtualrig.Worst} {
		b.Run(string(v), func(b *testing.B) {
			o := options(b, 100, v, "guided")
			seeds, err := population(o)
			require.NoError(b, err)
			k := 0
			for b.Loop() {
				newEntry(o, seeds[k%len(seeds)]).play(strategies[0])
				k++
			}
		})
	}
}

// ablations are the guided search with one thing changed.
var ablations = []struct {
	name   string
	change func(*Options)
}{
	{"as it is", func(*Options) {}},
	{"without time to failure", func(o *Options) { o.untimed = true }},
	{"without shared curve", func(o *Options) { o.tuning.OwnRatio = true }},
	{"without shadow trials", func(o *Options) { o.tuning.NoShadow = true }},
	{"tail as it shows", func(o *Options) { o.tuning.TailPace = 1 }},
	{"screening 4 min", func(o *Options) { o.tuning.ScreenMinutes = 4 }},
	{"screening 20 min", func(o *Options) { o.tuning.ScreenMinutes = 20 }},
	{"pass chance 50", func(o *Options) { o.tuning.ClimbPass = 0.50 }},
	{"pass chance 80", func(o *Options) { o.tuning.ClimbPass = 0.80 }},
}

// ablationRigs is how many rigs a row rests on: 200, or BELAY_RIGS.
func ablationRigs() int {
	if n, err := strconv.Atoi(os.Getenv("BELAY_RIGS")); err == nil {
		return n
	}
	return 200
}

// BenchmarkAblation prints a row per ablation. It takes minutes:
//
//	go test ./internal/contest -run NONE -bench Ablation -benchtime 1x -timeout 1h
func BenchmarkAblation(b *testing.B) {
	for _, v := range []virtualrig.Variant{virtualrig.Own, virtualrig.Worst} {
		for _, a := range ablations {
			b.Run(string(v)+"/"+a.name, func(b *testing.B) {
				o := options(b, ablationRigs(), v, "guided")
				o.Seed = 100_000
				a.change(&o)
				var t Tally
				for b.Loop() {
					r, err := Run(context.Background(), o, nil)
					require.NoError(b, err)
					t = r.Strategies[0]
				}
				b.ReportMetric(t.HoursMedian, "h")
				b.ReportMetric(t.HoursP90, "h-p90")
				b.ReportMetric(t.CrashesMean, "crashes")
				b.ReportMetric(100*t.TargetMetShare, "%met")
				b.ReportMetric(t.RatioRegret, "lost")
				b.ReportMetric(t.OverOracleMV, "mV")
			})
		}
	}
}
