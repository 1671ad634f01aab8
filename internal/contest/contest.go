// Package contest lets strategies for finding a core setting compete on the
// same simulated PCs, and tallies what each costs and what it is worth.
//
// Every strategy starts where the guide's own search for the core starts: the
// PC is measured as delivered and with the power limit lifted, the voltage is
// static, the load line is read. From there each strategy has the same job,
// the same limits and the same costs. Judged is the setting that it keeps, by
// the truth of the rig. Rules: docs/models/contest.md.
//
// The same options give the same result, whatever the number of processors.
package contest

import (
	"context"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"belay/internal/fault"
	"belay/internal/planner"
	"belay/internal/safety"
	"belay/internal/virtualrig"
)

// Options say what to compete on.
type Options struct {
	Rigs       int // how many, >= 1
	Seed       uint64
	Variant    virtualrig.Variant
	Strategies []string // by name; see Strategies
	Limits     safety.Limits
	TargetH    float64 // mean hours between failures that a setting is to reach

	// For ablations.
	untimed bool // no time to failure is reported
	tuning  planner.Tuning
}

// Result is the tally of every strategy, in the order asked for.
type Result struct {
	Rigs       int     `json:"rigs"`
	Seed       uint64  `json:"seed"`
	Variant    string  `json:"variant"`
	Strategies []Tally `json:"strategies"`
}

// strategy finds a setting on one rig.
type strategy struct {
	name string
	find func(*bout) verdict
}

var strategies = []strategy{
	{"guided", guided},
	{"ladder", ladder},
	{"bisection", finder(bisection, nil)},
	{"up-and-down", finder(upAndDown, &stated)},
	{"langlie", finder(langlie, &stated)},
	{"d-optimal", finder(dOptimal, &stated)},
	{"threshold", finder(threshold, &stated)},
}

// Strategies lists the strategies: the guide's own first, then its rivals.
func Strategies() []string {
	names := make([]string, 0, len(strategies))
	for _, s := range strategies {
		names = append(names, s.name)
	}
	return names
}

// Run lets the strategies compete. It calls tell, if there is one, after each
// bout, from several goroutines, with the number of bouts behind and in all.
// Options that make no sense give an Invalid fault.
func Run(ctx context.Context, o Options, tell func(done, all int)) (Result, error) {
	chosen, err := o.check()
	if err != nil {
		return Result{}, err
	}
	seeds, err := population(o)
	if err != nil {
		return Result{}, err
	}
	all := len(seeds) * len(chosen)
	scores := make([][]score, len(chosen))
	for i := range scores {
		scores[i] = make([]score, len(seeds))
	}
	var next, done atomic.Int64
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(seeds)) {
		workers.Go(func() {
			for ctx.Err() == nil {
				k := int(next.Add(1)) - 1
				if k >= len(seeds) {
					return
				}
				e := newEntry(o, seeds[k])
				for i, s := range chosen {
					if ctx.Err() != nil {
						return
					}
					scores[i][k] = e.play(s)
					if n := int(done.Add(1)); tell != nil {
						tell(n, all)
					}
				}
			}
		})
	}
	workers.Wait()
	if err := ctx.Err(); err != nil {
		return Result{}, err
	}
	out := Result{Rigs: o.Rigs, Seed: o.Seed, Variant: string(o.Variant)}
	for i, s := range chosen {
		out.Strategies = append(out.Strategies, tally(s.name, scores[i]))
	}
	return out, nil
}

// mostRigs bounds a population. Chosen: hours of work on a large PC.
const mostRigs = 1_000_000

func (o Options) check() ([]strategy, error) {
	if o.Rigs < 1 || o.Rigs > mostRigs {
		return nil, fault.Newf(fault.Invalid, "Use a number from 1 to 1000000.", "%d rigs cannot be simulated.", o.Rigs)
	}
	if !(o.TargetH > 0) {
		return nil, fault.New(fault.Invalid, "The target is not a positive number of hours.", "Use hours between failures, such as 500.")
	}
	var chosen []strategy
	for _, name := range o.Strategies {
		i := slices.IndexFunc(strategies, func(s strategy) bool { return s.name == name })
		if i < 0 {
			return nil, fault.Newf(fault.Invalid, "Choose one of: "+strings.Join(Strategies(), ", ")+".", "There is no strategy %q.", name)
		}
		chosen = append(chosen, strategies[i])
	}
	if len(chosen) == 0 {
		return nil, fault.New(fault.Invalid, "No strategy is named.", "Choose one of: "+strings.Join(Strategies(), ", ")+".")
	}
	return chosen, nil
}

// population returns the seeds of the first rigs, from o.Seed on, that have
// anything to tune. A rig that throttles or fails as delivered is left out:
// the guide sends it to repair.
func population(o Options) ([]uint64, error) {
	seeds := make([]uint64, 0, o.Rigs)
	for seed := o.Seed; len(seeds) < o.Rigs; seed++ {
		r, err := virtualrig.New(seed, o.Variant)
		if err != nil {
			return nil, err
		}
		if t := r.Traits(); !slices.Contains(t, virtualrig.TraitThrottles) && !slices.Contains(t, virtualrig.TraitUnstable) {
			seeds = append(seeds, seed)
		}
	}
	return seeds, nil
}
