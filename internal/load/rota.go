package load

import "time"

// job is one of the things that a worker can do.
type job int

const (
	doScalar job = iota
	doVector     // long products
	doBrief      // products of some microseconds
	doCache
	doMemory
)

// slot is a time to work, in nanoseconds since the start.
type slot struct {
	job         job
	from, until int64
	gated       bool // all cores begin at from, on the instant
}

// rota says which slot comes next for a worker at a time. All workers share
// the start of time, so that their slots meet.
type rota func(worker, workers int, now int64) slot

// look is how long a worker goes on before it looks around. Chosen: 10 ms, so
// that a beat is fresh and looking costs nothing.
const look = int64(10 * time.Millisecond)

const (
	micro = int64(time.Microsecond)
	milli = int64(time.Millisecond)
)

func steady(j job) rota {
	return func(_, _ int, now int64) slot { return slot{job: j, from: now, until: now + look} }
}

// mixed gives each core another job than its neighbour, and all change at
// once, ten times a second.
func mixed(worker, _ int, now int64) slot {
	const length = 100 * milli
	jobs := [...]job{doScalar, doVector, doCache, doMemory}
	n := now / length
	end := (n + 1) * length
	return slot{job: jobs[(n+int64(worker))%int64(len(jobs))], from: now, until: min(end, now+look)}
}

// pattern is a stretch of time in which work comes and goes.
type pattern struct {
	period, work int64
	turns        bool // one core at a time, in turn
	jobs         []job
}

// stretch is how long one pattern goes on.
const stretch = int64(6 * time.Second)

// bursts are load steps over a range of frequencies, since how far a voltage
// dips depends on it (Bertran and others, MICRO 2014; Kim and others, IEEE
// Micro 33(4), 2013), one core at a time, since only a lone core reaches the
// highest clock, and wake-ups from idle spells. Chosen: the periods.
var bursts = []pattern{
	{period: 200 * milli, work: 100 * milli, jobs: []job{doBrief}},
	{period: 10 * milli, work: 5 * milli, jobs: []job{doBrief}},
	{period: 2 * milli, work: milli, jobs: []job{doBrief}},
	{period: 100 * micro, work: 50 * micro, jobs: []job{doBrief}},
	{period: 500 * milli, work: 500 * milli, turns: true, jobs: []job{doBrief, doScalar}},
	{period: 250 * milli, work: 4 * milli, jobs: []job{doScalar, doBrief}},
}

// spells are short work between longer and longer rests.
var spells = []pattern{
	{period: 10 * milli, work: milli, jobs: []job{doScalar, doBrief}},
	{period: 100 * milli, work: 2 * milli, jobs: []job{doScalar, doBrief}},
	{period: 1000 * milli, work: 4 * milli, jobs: []job{doScalar, doBrief}},
	{period: 250 * milli, work: 5 * milli, turns: true, jobs: []job{doScalar, doBrief}},
}

// windows makes a rota of patterns that follow one another, each for a
// stretch. A worker that comes late to a window takes the next one.
func windows(patterns []pattern) rota {
	return func(worker, workers int, now int64) slot {
		for n := now / stretch; ; n++ {
			p := patterns[n%int64(len(patterns))]
			each := stretch / p.period // windows in a stretch
			round := n / int64(len(patterns)) * each
			for k := max(0, (now-n*stretch+p.period-1)/p.period); k < each; k++ {
				turn := round + k
				if p.turns {
					if turn%int64(workers) != int64(worker) {
						continue
					}
					turn /= int64(workers)
				}
				from := n*stretch + k*p.period
				return slot{job: p.jobs[turn%int64(len(p.jobs))], from: from, until: from + p.work, gated: true}
			}
		}
	}
}

// rotas and units of the kinds.
func (k Kind) rota() rota {
	switch k {
	case Scalar:
		return steady(doScalar)
	case WideVector:
		return steady(doVector)
	case Cache:
		return steady(doCache)
	case Memory:
		return steady(doMemory)
	case Mixed:
		return mixed
	case Bursty:
		return windows(bursts)
	}
	return windows(spells)
}

// jobs lists what a worker of this kind has to be able to do.
func (k Kind) jobs() []job {
	switch k {
	case Scalar:
		return []job{doScalar}
	case WideVector:
		return []job{doVector}
	case Cache:
		return []job{doCache}
	case Memory:
		return []job{doMemory}
	case Mixed:
		return []job{doScalar, doVector, doCache, doMemory}
	}
	return []job{doScalar, doBrief}
}

// unit is the unit of the score.
func (k Kind) unit() string {
	switch k {
	case Scalar:
		return "rounds/s"
	case WideVector:
		return "products/s"
	case Cache:
		return "steps/s"
	case Memory:
		return "GB/s"
	}
	return "units/s"
}
