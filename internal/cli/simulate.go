package cli

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/alecthomas/kong"
	"github.com/mattn/go-isatty"
	"github.com/schollz/progressbar/v3"

	"belay/flows"
	"belay/internal/contest"
	"belay/internal/flow"
	"belay/internal/stability"
	"belay/internal/virtualrig"
)

// simulatedFlow is the guide whose limits bind every strategy.
const simulatedFlow = "desktop"

// everyStrategy stands for all strategies.
const everyStrategy = "all"

type simulateCommand struct {
	Rigs     int    `default:"100" placeholder:"N" help:"How many simulated PCs (${default})."`
	Seed     uint64 `default:"1" placeholder:"S" help:"Seed of the first one (${default})."`
	Variant  string `default:"own" placeholder:"NAME" enum:"${variants}" help:"The law of their failures and readings (${default}). One of ${enum}."`
	Strategy string `default:"guided" placeholder:"NAME" enum:"${strategies}" help:"Who competes (${default}). One of ${enum}."`
	JSON     bool   `name:"json" help:"Print JSON."`
}

// simulateChoices are the names that the command takes.
func simulateChoices() kong.Vars {
	var variants []string
	for _, v := range virtualrig.Variants() {
		variants = append(variants, string(v))
	}
	return kong.Vars{
		"variants":   strings.Join(variants, ","),
		"strategies": strings.Join(append(contest.Strategies(), everyStrategy), ","),
	}
}

// Run lets strategies compete on simulated PCs.
func (s *simulateCommand) Run(c *call) error {
	g, err := flow.Load(flows.FS, simulatedFlow)
	if err != nil {
		return err
	}
	names := []string{s.Strategy}
	if s.Strategy == everyStrategy {
		names = contest.Strategies()
	}
	tell, end := c.progress(s.Rigs*len(names), "Simulating")
	result, err := contest.Run(c.ctx, contest.Options{
		Rigs: s.Rigs, Seed: s.Seed, Variant: virtualrig.Variant(s.Variant), Strategies: names,
		Limits: g.Platform.Limits, TargetH: stability.DefaultTargetH,
	}, tell)
	end()
	switch {
	case err != nil:
		return err
	case s.JSON:
		return c.json(result)
	}
	return c.tallies(result)
}

// progress returns what to call after each part of the work and at its end.
// It draws a bar if messages go to a terminal, and nothing otherwise.
func (c *call) progress(all int, what string) (tell func(done, all int), end func()) {
	file, ok := c.messages.(*os.File)
	if !ok || !isatty.IsTerminal(file.Fd()) {
		return nil, func() {}
	}
	bar := progressbar.NewOptions(all,
		progressbar.OptionSetWriter(file), progressbar.OptionSetDescription(what), progressbar.OptionShowCount(),
		progressbar.OptionThrottle(100*time.Millisecond), progressbar.OptionClearOnFinish(),
	)
	// The bar is for show: that it cannot be drawn is no reason to stop.
	return func(int, int) { _ = bar.Add(1) }, func() { _ = bar.Exit(); _ = bar.Clear() }
}

// tallies prints a result for a person.
func (c *call) tallies(r contest.Result) error {
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', tabwriter.AlignRight)
	row := func(cells ...string) { _, _ = io.WriteString(w, strings.Join(cells, "\t")+"\t\n") } // a Builder takes all
	row("strategy", "hours", "p90", "trials", "crashes", "p90", "target met", "ratio lost", "over oracle", "load voltage", "over limit")
	for _, t := range r.Strategies {
		row(t.Name, fmt.Sprintf("%.1f h", t.HoursMedian), fmt.Sprintf("%.1f h", t.HoursP90), fmt.Sprintf("%.1f", t.TrialsMean),
			fmt.Sprintf("%.1f", t.CrashesMean), fmt.Sprintf("%.0f", t.CrashesP90), fmt.Sprintf("%.1f %%", 100*t.TargetMetShare),
			fmt.Sprintf("%.2f", t.RatioRegret), fmt.Sprintf("%.0f mV", t.OverOracleMV), fmt.Sprintf("%.3f V", t.MaxLoadVoltage),
			fmt.Sprintf("%+.1f °C", t.MaxOverLimitC))
	}
	err := w.Flush()
	fmt.Fprintf(&b, "\n%s, variant %s, from seed %d. Hours are medians, the rest means; load voltage and temperature are the highest of any trial.\n",
		count(r.Rigs, "rig"), r.Variant, r.Seed)
	for _, t := range r.Strategies {
		for _, bin := range t.Calibration {
			if bin.TrueShare != nil {
				fmt.Fprintf(&b, "%s stated %.0f to %.0f %% on %s: true on %.1f %%.\n",
					t.Name, 100*bin.StatedLow, 100*bin.StatedHigh, count(bin.Rigs, "rig"), 100**bin.TrueShare)
			}
		}
	}
	return errors.Join(err, c.write([]byte(b.String())))
}
