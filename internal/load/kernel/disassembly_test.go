//go:build cgo && amd64

package kernel

import (
	"bufio"
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// wide are registers of 256 and 512 bits.
var wide = regexp.MustCompile(`%[yz]mm\d`)

// onStack is a wide move to or from the stack that needs an aligned address:
// compilers for Windows align the stack to 16 bytes only (GCC bug 54412).
var onStack = regexp.MustCompile(`v?mov(apd|aps|dqa\d*)\s.*(\(%rsp\)|\(%rbp\)|\(%rsp,|\(%rbp,).*`)

// disassembleEnv asks for the tests that compile the kernels anew.
const disassembleEnv = "BELAY_DISASSEMBLE"

func asked(t *testing.T) {
	if os.Getenv(disassembleEnv) == "" {
		t.Skip("compiling the kernels anew takes half a minute of processor time: set " + disassembleEnv + "=1")
	}
}

// code disassembles a file and returns the lines of each function of ours.
func code(t *testing.T, file string) map[string][]string {
	objdump, err := exec.LookPath("objdump")
	if err != nil {
		t.Skip("objdump is not installed, so that the machine code cannot be read")
	}
	out, err := exec.Command(objdump, "-d", "--no-show-raw-insn", file).Output()
	require.NoError(t, err)
	functions := map[string][]string{}
	name := ""
	for lines := bufio.NewScanner(bytes.NewReader(out)); lines.Scan(); {
		l := lines.Text()
		if strings.HasSuffix(l, ">:") {
			name = l[strings.IndexByte(l, '<')+1 : len(l)-2]
			continue
		}
		functions[name] = append(functions[name], l)
	}
	return functions
}

// sources are the kernels. memory has its own.
var sources = []string{"product.c", "scalar.c", "cache.c", "thread.c"}

// compile makes an object file with a compiler, by the flags of the package.
func compile(t *testing.T, compiler, source string) string {
	object := filepath.Join(t.TempDir(), source+".o")
	out, err := exec.Command(compiler, "-O2", "-g", "-c", source, "-o", object).CombinedOutput()
	require.NoError(t, err, string(out))
	return object
}

// isWide tells whether a function is meant to use wide registers.
func isWide(name string) bool {
	return strings.HasPrefix(name, "wide256_") || strings.HasPrefix(name, "wide512_")
}

// A single wide register in scalar work would bring the wide-vector offset of
// the clock into the search for the core ratio.
func TestScalarAndBaselineUseNoWideRegisters(t *testing.T) {
	asked(t)
	out, err := exec.Command("go", "env", "CC").Output()
	if err != nil {
		t.Skip("the go command is not here to name the C compiler")
	}
	narrowSeen, wideSeen := 0, 0
	for _, source := range sources {
		for name, lines := range code(t, compile(t, strings.Fields(string(out))[0], source)) {
			body := strings.Join(lines, "\n")
			if isWide(name) {
				wideSeen++
				require.Regexp(t, wide, body, "%s should be wide: the test would see nothing", name)
				require.Contains(t, body, "vzeroupper", "%s leaves the wide state on", name)
				continue
			}
			narrowSeen++
			require.NotRegexp(t, wide, body, name)
			require.NotContains(t, body, "vfmadd", name)
		}
	}
	require.Greater(t, narrowSeen, 12, "the kernels were not found")
	require.Equal(t, 6, wideSeen)
}

func TestWindowsBuildHasNoAlignedWideStackAccess(t *testing.T) {
	asked(t)
	gcc, err := exec.LookPath("x86_64-w64-mingw32-gcc")
	if err != nil {
		t.Skip("the cross compiler for Windows, x86_64-w64-mingw32-gcc, is not installed")
	}
	wideLines := 0
	for _, source := range sources {
		for name, lines := range code(t, compile(t, gcc, source)) {
			for _, l := range lines {
				if wide.MatchString(l) {
					wideLines++
					require.NotRegexp(t, onStack, l, name)
				}
			}
		}
	}
	require.Greater(t, wideLines, 100, "the wide kernels were not seen")
}

func TestTheExpressionsSeeWhatTheyShould(t *testing.T) {
	require.Regexp(t, onStack, " 1: vmovapd %ymm1,0x20(%rsp)")
	require.Regexp(t, onStack, " 1: vmovdqa64 -0x40(%rbp),%zmm3")
	require.NotRegexp(t, onStack, " 1: vmovupd %ymm1,0x20(%rsp)")
	require.NotRegexp(t, onStack, " 1: vmovapd (%rax),%ymm1")
	require.Regexp(t, wide, "vpxor %ymm1,%ymm1,%ymm1")
	require.NotRegexp(t, wide, "vpxor %xmm1,%xmm1,%xmm1")
}
