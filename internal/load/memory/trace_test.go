package memory

import (
	"bufio"
	"bytes"
	"fmt"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/load/march"
)

// compiler returns the C compiler that built this test.
func compiler(t *testing.T) string {
	out, err := exec.Command("go", "env", "CC").Output()
	if err != nil {
		t.Skip("the go command is not here to name the C compiler")
	}
	path, err := exec.LookPath(strings.Fields(string(out))[0])
	if err != nil {
		t.Skip("the C compiler is not here")
	}
	return path
}

// The kernel's body, built with loads and stores that write down what they
// do, has to do the operations of the march element by element, cell by cell,
// as the march is published; the order and the values come from here.
func TestTheKernelDoesTheMarchOperationByOperation(t *testing.T) {
	program := filepath.Join(t.TempDir(), "trace")
	out, err := exec.Command(compiler(t), "-O2", "-o", program, "testdata/trace.c", "step.c").CombinedOutput()
	require.NoError(t, err, "%s", out)

	c, err := New(Options{Size: 1 << 20, Workers: 1, Seed: 5})
	require.NoError(t, err)
	defer func() { require.NoError(t, c.Close()) }()
	w := c.Worker(0)
	w.lines = 37 // few, and no power of two
	var steps bytes.Buffer
	var want []string
	fmt.Fprintf(&steps, "%x\n", w.lines)
	tests := map[string]march.Test{"scattered": mustParse(t, scatteredMarch)}
	for w.phase = range c.phases {
		p := c.phases[w.phase]
		writeSteps(&steps, w)
		test := tests[p.background.name]
		if test == nil {
			test = march.CMinus()
		}
		want = append(want, operations(w, p, test[p.element])...)
	}

	run := exec.Command(program)
	run.Stdin = &steps
	traced, err := run.Output()
	require.NoError(t, err, "the kernel found an error in a sound memory")
	lines := bufio.NewScanner(bytes.NewReader(traced))
	for i, op := range want {
		require.True(t, lines.Scan(), "only %d operations of %d", i, len(want))
		require.Equal(t, op, lines.Text(), "operation %d", i)
	}
	require.False(t, lines.Scan(), "more than %d operations", len(want))
	require.Len(t, want, 96*37*8)
}

func mustParse(t *testing.T, text string) march.Test {
	test, err := march.Parse(text)
	require.NoError(t, err)
	return test
}

// writeSteps writes the present phase, as two steps.
func writeSteps(out *bytes.Buffer, w *Worker) {
	p := w.check.phases[w.phase]
	d := w.draw(p.background)
	all := uint64(w.positions(p))
	for _, step := range [][2]uint64{{0, all / 3}, {all / 3, all - all/3}} {
		text := fmt.Sprintf("%x %x %x %x %t %x %x %x %x %x %x %x\n", step[0], step[1], d.words, d.salt, p.background.hashed,
			mask(p.readOne), mask(p.writeOne), p.ops(), p.order, d.multiply, d.add, w.scatterBits())
		out.WriteString(strings.NewReplacer("[", "", "]", "", "true", "1", "false", "0").Replace(text))
	}
}

// operations are what an element does to a part, word by word of each line:
// all reads of a line come before its writes.
func operations(w *Worker, p phase, e march.Element) []string {
	d := w.draw(p.background)
	value := func(line uint64, i int, one bool) uint64 {
		v := d.words[i]
		if p.background.hashed {
			z := (line + d.salt) * 0x9e3779b97f4a7c15
			v ^= z ^ z>>32
		}
		if one {
			return ^v
		}
		return v
	}
	var out []string
	for _, line := range visits(w, p, e) {
		for _, op := range e.Ops {
			for i := range 8 {
				if op.Read {
					out = append(out, fmt.Sprintf("r %d", line*8+uint64(i)))
				} else {
					out = append(out, fmt.Sprintf("w %d %016x", line*8+uint64(i), value(line, i, op.One)))
				}
			}
		}
	}
	return out
}

// visits are the lines in the order of an element. Any order is up at first
// and down at last, or scattered.
func visits(w *Worker, p phase, e march.Element) []uint64 {
	var out []uint64
	n := uint64(w.lines)
	for k := range uint64(w.positions(p)) {
		switch {
		case e.Order == march.Any && p.background.name == "scattered":
			if line := w.draw(p.background).scatter(k, w.scatterBits()); line < n {
				out = append(out, line)
			}
		case e.Order == march.Down, e.Order == march.Any && p.element > 0:
			out = append(out, n-1-k)
		default:
			out = append(out, k)
		}
	}
	return out
}
