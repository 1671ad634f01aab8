package load

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/load/kernel"
	"belay/internal/trial"
)

// patience is far beyond what any of these tests needs.
const patience = 60 * time.Second

func available(t testing.TB) {
	if !kernel.Available {
		t.Skip("built without a C compiler: there are no loads")
	}
}

// one is a core that may be used here, twice where only one may.
func cores() []int {
	all := allowedCores()
	return all[:min(2, len(all))]
}

// begin starts a load and waits until its work has begun.
func begin(t *testing.T, spec Spec, o Options) (*Run, <-chan Progress) {
	available(t)
	progress := make(chan Progress, 1000)
	o.Progress = func(p Progress) {
		select {
		case progress <- p:
		default:
		}
	}
	if spec.Size == 0 && (spec.Kind == Memory || spec.Kind == Mixed) {
		spec.Size = 16 << 20
	}
	r, err := Start(spec, o)
	require.NoError(t, err)
	t.Cleanup(func() { r.Stop(); <-r.Done() })
	until(t, progress, func(p Progress) bool { return p.Checked > 0 })
	return r, progress
}

// until waits for a progress that is wanted.
func until(t *testing.T, progress <-chan Progress, want func(Progress) bool) Progress {
	t.Helper()
	limit := time.After(patience)
	for {
		select {
		case p := <-progress:
			if want(p) {
				return p
			}
		case <-limit:
			require.Fail(t, "the load did not get there")
		}
	}
}

func end(t *testing.T, r *Run) Result {
	t.Helper()
	select {
	case <-r.Done():
	case <-time.After(patience):
		require.Fail(t, "the load did not end")
	}
	result, err := r.Wait()
	require.NoError(t, err)
	return result
}

func TestEachKindRunsItsTimeAndHolds(t *testing.T) {
	available(t)
	for _, kind := range Kinds {
		t.Run(string(kind), func(t *testing.T) {
			t.Parallel()
			spec := Spec{Kind: kind, Cores: cores(), Duration: 300 * time.Millisecond}
			if kind == Memory || kind == Mixed {
				spec.Size = 16 << 20
			}
			r, err := Start(spec, Options{})
			require.NoError(t, err)
			result := end(t, r)
			require.Equal(t, Completed, result.Ended, "%+v", result)
			require.True(t, result.Held())
			require.Equal(t, trial.Clean, result.Outcome())
			require.Positive(t, result.Checked)
			require.GreaterOrEqual(t, result.Seconds, 0.3)
			if kind == Memory {
				require.EqualValues(t, 16<<20, result.Memory.Size)
			}
		})
	}
}

func TestStopIsObeyed(t *testing.T) {
	r, _ := begin(t, Spec{Kind: Scalar, Cores: cores()}, Options{})
	r.Stop()
	r.Stop() // twice does no harm
	result := end(t, r)
	require.Equal(t, Stopped, result.Ended)
	require.Equal(t, trial.Stopped, result.Outcome())
	require.True(t, result.Held())
}

// flips are disturbances that each change a result.
var flips = map[job]kernel.Fault{
	doScalar: {Site: kernel.FlipConvolution, Bit: 17, Index: 99},
	doVector: {Site: kernel.FlipSum, Bit: 40, Index: 1234, Step: 64},
	doBrief:  {Site: kernel.FlipKnown, Bit: 3, Index: 55},
	doCache:  {Site: kernel.FlipLine, Bit: 9, Index: 77, Step: 4},
	doMemory: {Index: 5},
}

func TestAFlipIsFoundOnItsCoreInEachKind(t *testing.T) {
	for _, kind := range Kinds {
		for i, j := range kind.jobs() {
			number := (i + 1) % len(cores())
			t.Run(string(kind), func(t *testing.T) {
				t.Parallel()
				r, _ := begin(t, Spec{Kind: kind, Cores: cores()}, Options{})
				require.NoError(t, r.to.write(line{T: tDisturb, Fault: &disturb{Worker: number, Job: j, Flip: flips[j]}}))
				result := end(t, r)
				require.Equal(t, Failed, result.Ended, "the first error ends a load")
				require.Len(t, result.Errors, 1)
				e := result.Errors[0]
				require.Equal(t, cores()[number], e.Core)
				require.NotEqual(t, e.Expected, e.Got)
				require.NotEmpty(t, e.Bits)
				require.NotEmpty(t, e.Check)
				require.Equal(t, trial.Error, result.Outcome())
			})
		}
	}
}

func TestKeepGoing(t *testing.T) {
	r, progress := begin(t, Spec{Kind: Scalar, Cores: cores(), KeepGoing: true}, Options{})
	for n := 1; n <= 3; n++ {
		require.NoError(t, r.to.write(line{T: tDisturb, Fault: &disturb{Flip: flips[doScalar]}}))
		p := until(t, progress, func(p Progress) bool { return p.Wrong >= n })
		require.Equal(t, n, p.Wrong)
	}
	r.Stop()
	result := end(t, r)
	require.Equal(t, Stopped, result.Ended)
	require.Len(t, result.Errors, 3)
	require.False(t, result.Held())
	require.Equal(t, trial.Error, result.Outcome())
}

// The crashes are real ones, on the thread of the load.
func TestACrashIsAResultAndNamesItsCore(t *testing.T) {
	number := len(cores()) - 1
	for how, what := range []string{"illegal instruction", "bad address", "memory error", "arithmetic fault", "abort"} {
		t.Run(what, func(t *testing.T) {
			t.Parallel()
			r, _ := begin(t, Spec{Kind: Scalar, Cores: cores()}, Options{})
			require.NoError(t, r.to.write(line{T: tDisturb, Fault: &disturb{Worker: number, Die: how + 1}}))
			result := end(t, r)
			require.Equal(t, Crashed, result.Ended)
			require.Len(t, result.Errors, 1)
			require.Equal(t, what, result.Errors[0].Got)
			require.Equal(t, cores()[number], result.Errors[0].Core)
			require.Equal(t, trial.Error, result.Outcome())
		})
	}
}

func TestAKilledLoadIsAResult(t *testing.T) {
	r, _ := begin(t, Spec{Kind: Scalar, Cores: cores()}, Options{})
	require.NoError(t, r.cmd.Process.Kill())
	result := end(t, r)
	require.Equal(t, Crashed, result.Ended)
	require.Contains(t, result.Errors[0].Got, "killed")
	require.Positive(t, result.Checked, "what was heard before is kept")
}

func TestACoreThatStandsStillIsAResult(t *testing.T) {
	number := len(cores()) - 1
	r, _ := begin(t, Spec{Kind: WideVector, Cores: cores()}, Options{HangAfter: 2 * time.Second})
	require.NoError(t, r.to.write(line{T: tDisturb, Fault: &disturb{Worker: number, Hang: true}}))
	result := end(t, r)
	require.Equal(t, Hung, result.Ended)
	require.Len(t, result.Errors, 1)
	require.Equal(t, cores()[number], result.Errors[0].Core)
}

func TestALoadThatFallsSilentIsAResult(t *testing.T) {
	sleep, err := exec.LookPath("sleep")
	if err != nil {
		t.Skip("this system has no sleep command to stand for a silent load")
	}
	r, err := Start(Spec{Kind: Scalar, Cores: cores()}, Options{Program: []string{sleep, "3600"}, HangAfter: 100 * time.Millisecond})
	require.NoError(t, err)
	result := end(t, r)
	require.Equal(t, Hung, result.Ended)
	require.Equal(t, -1, result.Errors[0].Core)
}

func TestTheLoadEndsWithItsInput(t *testing.T) {
	available(t)
	self, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(self, childArgument)
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	require.NoError(t, json.NewEncoder(in).Encode(line{T: tRun, Spec: &Spec{Kind: Scalar, Cores: cores()}}))
	require.NoError(t, in.Close())
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	select {
	case err := <-ended:
		require.NoError(t, err)
	case <-time.After(patience):
		_ = cmd.Process.Kill()
		require.Fail(t, "the load outlived its input")
	}
}

// The child of the real program has no hooks: it must not obey a disturbance.
func TestOnlyTestsCanDisturb(t *testing.T) {
	c := &session{workers: []*worker{{}}, shared: shared{stop: kernel.NewStop()}}
	defer c.shared.stop.Free()
	obeyed := func(hooks bool) bool {
		c.hooks = hooks
		in := pipeOf(t, line{T: tDisturb, Fault: &disturb{Hang: true}})
		c.obey(json.NewDecoder(in))
		return c.workers[0].disturb.Swap(nil) != nil
	}
	require.False(t, obeyed(false))
	require.True(t, obeyed(true))
}

func pipeOf(t *testing.T, l line) *os.File {
	name := filepath.Join(t.TempDir(), "lines")
	f, err := os.Create(name)
	require.NoError(t, err)
	require.NoError(t, json.NewEncoder(f).Encode(l))
	_, err = f.Seek(0, 0)
	require.NoError(t, err)
	t.Cleanup(func() { _ = f.Close() })
	return f
}

func TestBadSpecificationsAreRefused(t *testing.T) {
	for name, spec := range map[string]Spec{
		"kind":     {Kind: "warm"},
		"core":     {Kind: Scalar, Cores: []int{-1}},
		"twice":    {Kind: Scalar, Cores: []int{0, 0}},
		"duration": {Kind: Scalar, Duration: -1},
		"size":     {Kind: Scalar, Size: 1 << 30},
	} {
		_, err := Start(spec, Options{})
		require.True(t, fault.Is(err, fault.Invalid), name)
	}
	available(t)
	for name, spec := range map[string]Spec{
		"no such core": {Kind: Scalar, Cores: []int{most - 1}},
		"width":        {Kind: WideVector, Width: 96},
		"too small":    {Kind: Memory, Size: 4096},
		"too large":    {Kind: Memory, Size: 1 << 50},
	} {
		t.Run(name, func(t *testing.T) {
			r, err := Start(spec, Options{})
			require.NoError(t, err)
			_, err = r.Wait()
			var f *fault.Error
			require.ErrorAs(t, err, &f)
			require.NotEmpty(t, f.Msg)
			require.NotEmpty(t, f.Next)
			require.NotEqual(t, fault.Internal, f.Code)
		})
	}
}

func TestResultIsTheLineOfTheCommand(t *testing.T) {
	body, err := json.Marshal(Result{Kind: Scalar, Cores: []int{0}, Errors: []Error{{Core: 1, Bits: []int{3}}}})
	require.NoError(t, err)
	for _, key := range []string{`"kind"`, `"seconds"`, `"cores"`, `"score"`, `"unit"`, `"errors"`, `"core":1`, `"at_s"`, `"expected"`, `"got"`, `"bits":[3]`, `"checked"`} {
		require.Contains(t, string(body), key)
	}
}

// Rotas. All workers meet at the windows; each core has its turn alone.
func TestRotas(t *testing.T) {
	const workers = 5
	for _, kind := range []Kind{Bursty, Idle} {
		next := kind.rota()
		turns := map[int]int{}
		for now := int64(0); now < 40*stretch; now += 313 * milli {
			pattern := map[Kind][]pattern{Bursty: bursts, Idle: spells}[kind]
			for w := range workers {
				s := next(w, workers, now)
				require.GreaterOrEqual(t, s.from, now)
				require.Greater(t, s.until, s.from)
				require.Equal(t, s.from/stretch, (s.until-1)/stretch)
				p := pattern[s.from/stretch%int64(len(pattern))]
				require.Zero(t, s.from%stretch%p.period)
				require.Equal(t, p.work, s.until-s.from)
				if p.turns {
					turns[w]++
					for other := range workers {
						if o := next(other, workers, s.from); other != w {
							require.NotEqual(t, s.from, o.from, "one core at a time")
						}
					}
				} else {
					require.Equal(t, s.from, next((w+1)%workers, workers, s.from).from, "all cores together")
				}
			}
		}
		require.Len(t, turns, workers)
	}
	for now := int64(0); now < 10*100*milli; now += 100 * milli {
		require.NotEqual(t, mixed(0, 2, now).job, mixed(1, 2, now).job)
	}
}

func TestMeterIsAMedianAfterWarmUp(t *testing.T) {
	m := &meter{}
	m.add(1e9, int64(warm)) // a cold second, left out
	require.Zero(t, m.rate())
	for _, units := range []float64{50, 1, 52, 51, 900} {
		m.add(units, int64(slice))
	}
	require.Equal(t, 102.0, m.rate(), "51 in half a second")
}

func TestProgressComesOneAtATime(t *testing.T) {
	available(t)
	var mutex sync.Mutex
	calls := 0
	r, err := Start(Spec{Kind: Idle, Cores: cores(), Duration: 300 * time.Millisecond}, Options{Progress: func(Progress) {
		require.True(t, mutex.TryLock())
		defer mutex.Unlock()
		calls++
	}})
	require.NoError(t, err)
	end(t, r)
	require.Positive(t, calls)
}
