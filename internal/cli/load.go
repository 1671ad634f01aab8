package cli

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/mattn/go-isatty"
	"github.com/schollz/progressbar/v3"

	"belay/internal/fault"
	"belay/internal/load"
)

// Load is a load that was started.
type Load interface {
	Stop()
	Done() <-chan struct{}
	Wait() (load.Result, error)
}

type loadCommand struct {
	Kind      string  `arg:"" help:"What to run: scalar, wide-vector, cache, memory, mixed, bursty or idle."`
	Minutes   float64 `required:"" placeholder:"M" help:"How long to run."`
	Cores     string  `placeholder:"LIST" help:"Cores to load, counted from 0, as in 0,2-5. Without it, all."`
	Size      float64 `placeholder:"GIB" help:"Memory to check, in GiB. Without it, what is free, less a reserve. For memory and mixed."`
	Width     int     `placeholder:"BITS" help:"Vector width: 128, 256 or 512 bits. Without it, the widest of this processor."`
	KeepGoing bool    `help:"Go on after an error. Without it, the first one ends the load."`
	JSON      bool    `name:"json" help:"Print JSON."`
}

// Run runs a load and tells what it found.
func (l *loadCommand) Run(c *call) error {
	spec, err := l.spec()
	if err != nil {
		return misusedBy{err}
	}
	start := c.ports.StartLoad
	if start == nil {
		start = func(s load.Spec, o load.Options) (Load, error) { return load.Start(s, o) }
	}
	tell, end := c.loading(spec)
	run, err := start(spec, load.Options{Progress: tell})
	if fault.Is(err, fault.Invalid) {
		return misusedBy{err}
	}
	if err != nil {
		return err
	}
	c.message("The processor gets hot. Stop with Ctrl+C at smoke, at a smell, or at a temperature that does not settle.")
	select {
	case <-run.Done():
	case <-c.ctx.Done():
		run.Stop()
	}
	result, err := run.Wait()
	end()
	if fault.Is(err, fault.Invalid) {
		return misusedBy{err}
	}
	if err != nil {
		return err
	}
	if err := l.print(c, result); err != nil {
		return err
	}
	switch {
	case !result.Held():
		return errRefuted
	case result.Ended == load.Stopped:
		return context.Canceled
	}
	return nil
}

// longest is the longest load, in minutes. Chosen: a year.
const longest = 365 * 24 * 60

func (l *loadCommand) spec() (load.Spec, error) {
	s := load.Spec{Kind: load.Kind(l.Kind), Width: l.Width, KeepGoing: l.KeepGoing}
	if !(l.Minutes > 0 && l.Minutes <= longest) {
		return s, fault.New(fault.Invalid, "The minutes are not right.", "Give a number above zero, as in --minutes 30.")
	}
	s.Duration = time.Duration(l.Minutes * float64(time.Minute))
	if !(l.Size >= 0 && l.Size < 1<<20) {
		return s, fault.New(fault.Invalid, "The size is not right.", "Give it in GiB, as in --size 4.")
	}
	s.Size = int64(l.Size * (1 << 30))
	cores, err := parseCores(l.Cores)
	s.Cores = cores
	return s, err
}

// parseCores reads a list of numbers and ranges.
func parseCores(list string) ([]int, error) {
	if strings.TrimSpace(list) == "" {
		return nil, nil
	}
	wrong := fault.Newf(fault.Invalid, "Count cores from 0, as in 0,2-5.", "This is not a list of cores: %s", plain(list))
	var cores []int
	for part := range strings.SplitSeq(list, ",") {
		low, high, isRange := strings.Cut(strings.TrimSpace(part), "-")
		if !isRange {
			high = low
		}
		from, err := strconv.Atoi(low)
		to, err2 := strconv.Atoi(high)
		if err != nil || err2 != nil || from < 0 || to < from || to > 1<<16 {
			return nil, wrong
		}
		for i := from; i <= to; i++ {
			cores = append(cores, i)
		}
	}
	return cores, nil
}

// loading returns what to call with the progress of a load, and at its end. It
// draws a bar if messages go to a terminal, and tells only errors otherwise.
func (c *call) loading(spec load.Spec) (tell func(load.Progress), end func()) {
	told := func(p load.Progress) {
		for _, e := range p.Errors {
			c.message("%s", errorText(e))
		}
	}
	file, ok := c.messages.(*os.File)
	if !ok || !isatty.IsTerminal(file.Fd()) {
		return told, func() {}
	}
	const parts = 1000
	bar := progressbar.NewOptions(parts, progressbar.OptionSetWriter(file), progressbar.OptionSetPredictTime(false),
		progressbar.OptionThrottle(100*time.Millisecond), progressbar.OptionClearOnFinish())
	// The bar is for show: that it cannot be drawn is no reason to stop.
	return func(p load.Progress) {
		if len(p.Errors) > 0 {
			_ = bar.Clear()
			told(p)
		}
		share, what := float64(p.Elapsed)/float64(spec.Duration), clockText(p.Elapsed)+" of "+clockText(spec.Duration)
		if p.Preparing {
			share, what = 0, "Taking memory"
			if p.Total > 0 {
				share = float64(p.Done) / float64(p.Total)
			}
		} else if p.Wrong > 0 {
			what += ", " + count(p.Wrong, "wrong result")
		}
		bar.Describe(what)
		_ = bar.Set(min(parts-1, int(share*parts)))
	}, func() { _ = bar.Exit(); _ = bar.Clear() }
}

func clockText(d time.Duration) string {
	s := int(d.Seconds())
	return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
}

// errorText tells of one error.
func errorText(e load.Error) string {
	where := "An unknown core"
	if e.Core >= 0 {
		where = "Core " + strconv.Itoa(e.Core)
	}
	text := fmt.Sprintf("%s, after %.1f s: %s", where, e.AtS, e.Check)
	if e.Place != "" {
		text += ", " + e.Place
	}
	return fmt.Sprintf("%s: expected %s, got %s.", text, e.Expected, plain(e.Got))
}

// print writes the result: one line for programs, some for a person. Errors
// have been told while the load ran.
func (l *loadCommand) print(c *call, r load.Result) error {
	if l.JSON {
		body, err := json.Marshal(r)
		if err != nil {
			return fault.Wrap("cli: print JSON", err)
		}
		return c.write(append(body, '\n'))
	}
	var b strings.Builder
	cores := make([]string, len(r.Cores))
	for i, core := range r.Cores {
		cores[i] = strconv.Itoa(core)
	}
	found := "every result right"
	if !r.Held() {
		found = count(r.Wrong, "error")
	}
	fmt.Fprintf(&b, "%s on core %s: ran %s, %d units checked, %s.\n", sentenceCase(string(r.Kind)), strings.Join(cores, ", "),
		clockText(time.Duration(r.Seconds*float64(time.Second))), r.Checked, found)
	if r.Score > 0 {
		fmt.Fprintf(&b, "Score: %.4g %s of processor time", r.Score, r.Unit)
		if r.GFLOPS > 0 {
			fmt.Fprintf(&b, ", %.4g GFLOP/s at %d bits", r.GFLOPS, r.Width)
		}
		b.WriteString(".\n")
	}
	if m := r.Memory; m != nil {
		fmt.Fprintf(&b, "Memory: %.2f GiB, %.1f %% of it checked by a whole march, %.2f passes.\n", float64(m.Size)/(1<<30), 100*m.Coverage, m.Passes)
	}
	return c.write([]byte(b.String()))
}
