// Package gain judges what tuning gained: scores before and after, and what
// each step cost in heat and power.
//
// A score is work per time, higher is better. Scores scatter by a share of
// their size, so they are compared on the log scale: a difference of logs is
// a ratio. Every ratio carries its interval, and a difference that the
// scatter can explain is never called a gain. See docs/models/gain.md.
package gain

import (
	"fmt"
	"math"

	"belay/internal/fault"
	"belay/internal/stats"
)

// Verdict says what the scores allow one to say.
type Verdict string

// Verdicts.
const (
	Faster  Verdict = "faster"                   // the whole interval lies above 1
	Slower  Verdict = "slower"                   // the whole interval lies below 1
	Same    Verdict = "no measurable difference" // the interval contains 1
	Unknown Verdict = "not enough evidence"      // no interval is possible
)

const (
	// MaxMoreRuns is the largest number of further runs that is worth naming.
	// Chosen: thirty runs of ten minutes on each side are a long day.
	MaxMoreRuns = 30
	// enoughRuns is how many scores a side should have. Common practice, no
	// source: three runs.
	enoughRuns = 3
	// settleChance is the chance at which the further runs settle the question,
	// if the true difference is the one seen. Chosen: the customary power of a test.
	settleChance = 0.8
)

// Scores describes one side.
type Scores struct {
	N      int
	Mean   float64 // geometric mean
	Median float64
	Spread float64 // relative standard deviation, as a share; 0 if unknown
}

// Comparison is the ratio of the scores after over those before.
type Comparison struct {
	Ratio       float64        // geometric mean after over before
	MedianRatio float64        // median after over before; of the pair ratios if paired
	Interval    stats.Interval // of Ratio; zero if Verdict is Unknown
	T, DF, P    float64        // test of Ratio = 1; zero if Verdict is Unknown
	Before      Scores
	After       Scores
	Verdict     Verdict
	// MoreRuns is set for Same only: so many more runs of each side would
	// settle it with a chance of 80 %, if the difference is the one seen.
	// TooMany means that more than MaxMoreRuns would be needed.
	MoreRuns int
	TooMany  bool
	Warnings []string
}

// Percent returns the change from a ratio of 1, in percent.
func Percent(ratio float64) float64 { return (ratio - 1) * 100 }

// Compare compares two lists of scores above 0 at confidence conf, by a Welch
// test on the logs. With one score on one side and three or more on the other
// the one is taken to scatter like the many, and a warning says so. With one
// score on each side the verdict is Unknown.
func Compare(before, after []float64, conf float64) (Comparison, error) {
	lb, la, err := bothLogs(before, after)
	if err != nil {
		return Comparison{}, err
	}
	w, err := stats.Welch(la, lb, conf)
	if err != nil {
		return Comparison{}, fault.Wrap("compare scores", err)
	}
	sb, sa, err := summaries(lb, la)
	if err != nil {
		return Comparison{}, err
	}
	c := Comparison{Before: scoresOf(sb), After: scoresOf(sa)}
	c.MedianRatio = c.After.Median / c.Before.Median
	if err := checkRatio(c.MedianRatio, w.Difference); err != nil {
		return Comparison{}, err
	}
	if !w.Tested {
		if w, err = borrowed(w, sb, sa, conf); err != nil {
			return Comparison{}, err
		}
	}
	c.take(w)
	c.Warnings = append(c.Warnings, sideWarnings("before", before, sb)...)
	c.Warnings = append(c.Warnings, sideWarnings("after", after, sa)...)
	if c.Verdict == Same {
		c.plan(apart(sb, sa), w.Difference, conf)
	}
	return c, nil
}

// ComparePaired compares runs taken in turn: before[i] and after[i] were run
// close together. Slow drift of room or machine then cancels.
func ComparePaired(before, after []float64, conf float64) (Comparison, error) {
	lb, la, err := bothLogs(before, after)
	if err != nil {
		return Comparison{}, err
	}
	p, err := stats.Paired(la, lb, conf)
	if err != nil {
		return Comparison{}, fault.Wrap("compare pairs", err)
	}
	sb, sa, err := summaries(lb, la)
	if err != nil {
		return Comparison{}, err
	}
	ratios := make([]float64, len(la))
	for i := range la {
		ratios[i] = la[i] - lb[i]
	}
	middle, err := stats.Summarize(ratios)
	if err != nil {
		return Comparison{}, fault.Wrap("pair ratios", err)
	}
	c := Comparison{Before: scoresOf(sb), After: scoresOf(sa), MedianRatio: math.Exp(middle.Median)}
	if err := checkRatio(c.MedianRatio, p.Difference); err != nil {
		return Comparison{}, err
	}
	c.take(p)
	c.Warnings = p.Warnings
	if c.Verdict == Same {
		c.plan(func(m int) (float64, float64) {
			n := float64(middle.N + m)
			return middle.SD / math.Sqrt(n), n - 1
		}, p.Difference, conf)
	}
	return c, nil
}

// take fills in ratio, interval and verdict from a comparison of logs.
func (c *Comparison) take(w stats.Comparison) {
	c.Ratio = math.Exp(w.Difference)
	if !w.Tested {
		c.Verdict = Unknown
		return
	}
	c.T, c.DF, c.P = w.T, w.DF, w.P
	c.Interval = stats.Interval{
		Low: math.Exp(w.Interval.Low), High: math.Exp(w.Interval.High), Confidence: w.Interval.Confidence,
	}
	switch {
	case c.Interval.Low > 1:
		c.Verdict = Faster
	case c.Interval.High < 1:
		c.Verdict = Slower
	default:
		c.Verdict = Same
	}
}

// plan finds the least m for which |difference| is expected to exceed the
// interval's half-width. spread gives the standard error and the degrees of
// freedom after m more runs of each.
func (c *Comparison) plan(spread func(m int) (se, df float64), difference, conf float64) {
	for m := 1; m <= MaxMoreRuns; m++ {
		se, df := spread(m)
		wide, err := stats.StudentQuantile(1-(1-conf)/2, df)
		if err != nil {
			continue
		}
		sure, err := stats.StudentQuantile(settleChance, df)
		if err != nil {
			continue
		}
		if math.Abs(difference) >= (wide+sure)*se {
			c.MoreRuns = m
			return
		}
	}
	c.TooMany = true
}

// apart returns the spread that plan asks for, for two independent sides. A
// side with one score takes the other's scatter.
func apart(before, after stats.Summary) func(m int) (se, df float64) {
	sdBefore, sdAfter := before.SD, after.SD
	if before.N < 2 {
		sdBefore = sdAfter
	}
	if after.N < 2 {
		sdAfter = sdBefore
	}
	return func(m int) (se, df float64) {
		nb, na := before.N+m, after.N+m
		vb, va := sdBefore*sdBefore/float64(nb), sdAfter*sdAfter/float64(na)
		return math.Sqrt(vb + va), stats.WelchFreedom(vb, nb, va, na)
	}
}

// borrowed makes the test for one score against several by giving the one the
// spread of the others. Other untested comparisons come back as they are.
func borrowed(w stats.Comparison, before, after stats.Summary, conf float64) (stats.Comparison, error) {
	many := before
	if after.N > before.N {
		many = after
	}
	if min(before.N, after.N) != 1 || many.N < enoughRuns || many.SD == 0 {
		return w, nil
	}
	df := float64(many.N - 1)
	q, err := stats.StudentQuantile(1-(1-conf)/2, df)
	if err != nil {
		return w, err
	}
	w.SE = many.SD * math.Sqrt(1+1/float64(many.N))
	w.T, w.DF, w.Tested = w.Difference/w.SE, df, true
	w.P, err = stats.StudentTwoSided(w.T, df)
	w.Interval = stats.Interval{Low: w.Difference - q*w.SE, High: w.Difference + q*w.SE, Confidence: conf}
	return w, err
}

// sideWarnings says what one side lacks.
func sideWarnings(side string, scores []float64, s stats.Summary) []string {
	var w []string
	if n := len(scores); n == 1 {
		w = append(w, fmt.Sprintf("One score %s says nothing about scatter. Take %d more.", side, enoughRuns-n))
	} else if n < enoughRuns {
		w = append(w, fmt.Sprintf("Only %d scores %s. Take %d more.", n, side, enoughRuns-n))
	}
	if s.N > 1 && s.SD == 0 {
		w = append(w, fmt.Sprintf("All scores %s are equal. The score may be rounded too far.", side))
	}
	if s.EffectiveN < float64(s.N)/2 && s.N >= 2*enoughRuns {
		w = append(w, fmt.Sprintf("Scores %s drift. Let the PC warm up, or run both settings in turn.", side))
	}
	return w
}

func bothLogs(before, after []float64) (lb, la []float64, err error) {
	if lb, err = stats.Logs(before); err != nil {
		return nil, nil, fault.Wrap("scores before", err)
	}
	if la, err = stats.Logs(after); err != nil {
		return nil, nil, fault.Wrap("scores after", err)
	}
	return lb, la, nil
}

func summaries(lb, la []float64) (sb, sa stats.Summary, err error) {
	if sb, err = stats.Summarize(lb); err != nil {
		return sb, sa, fault.Wrap("scores before", err)
	}
	if sa, err = stats.Summarize(la); err != nil {
		return sb, sa, fault.Wrap("scores after", err)
	}
	return sb, sa, nil
}

// scoresOf turns a summary of logs into one of scores. The spread is that of a
// log-normal quantity.
func scoresOf(s stats.Summary) Scores {
	return Scores{
		N: s.N, Mean: math.Exp(s.Mean), Median: math.Exp(s.Median),
		Spread: math.Sqrt(math.Expm1(s.SD * s.SD)),
	}
}

// checkRatio refuses scores so far apart that their ratio has no value.
func checkRatio(median, logMean float64) error {
	ratio := math.Exp(logMean)
	if median > 0 && ratio > 0 && !math.IsInf(median, 0) && !math.IsInf(ratio, 0) {
		return nil
	}
	return fault.New(fault.Invalid, "The two sides are too far apart to compare.", "Check the unit of both scores.")
}
