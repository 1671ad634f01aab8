package memory

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
)

var (
	wideRegister = regexp.MustCompile(`%[yz]mm`)
	// A wide move that demands an aligned place, to or from the stack.
	alignedOnStack = regexp.MustCompile(`vmovap[sd]|vmovdqa|vmovntdq|vmovntp[sd]`)
	onStack        = regexp.MustCompile(`\(%r[sb]p`)
	line           = regexp.MustCompile(`(?m)^.*%[yz]mm.*$`)
)

// disassemble returns an object file as text, or skips.
func disassemble(t *testing.T, object string) string {
	tool, err := exec.LookPath("objdump")
	if err != nil {
		t.Skip("objdump is not here")
	}
	out, err := exec.Command(tool, "-d", "--no-show-raw-insn", object).Output()
	require.NoError(t, err)
	return string(out)
}

func object(t *testing.T, cc, source string) string {
	out := filepath.Join(t.TempDir(), "kernel.o")
	said, err := exec.Command(cc, "-O2", "-Wall", "-Wextra", "-Werror", "-c", "-o", out, source).CombinedOutput()
	require.NoError(t, err, "%s", said)
	return out
}

// The narrow kernel must not make the processor lower its clock for wide
// vectors, and the wide ones must be wide.
func TestWidthOfTheRegisters(t *testing.T) {
	if runtime.GOARCH != "amd64" {
		t.Skip("only x86-64 has the wide kernels")
	}
	cc := compiler(t)
	require.NotRegexp(t, wideRegister, disassemble(t, object(t, cc, "kernel_base.c")))
	require.NotRegexp(t, wideRegister, disassemble(t, object(t, cc, "step.c")))
	require.Contains(t, disassemble(t, object(t, cc, "kernel_256.c")), "%ymm")
	require.Contains(t, disassemble(t, object(t, cc, "kernel_512.c")), "%zmm")
}

// Compilers for Windows align the stack to 16 bytes, so an aligned wide move
// there would crash.
func TestNoAlignedWideMoveOnTheStack(t *testing.T) {
	cc := os.Getenv("BELAY_WINDOWS_CC")
	if cc == "" {
		cc = "x86_64-w64-mingw32-gcc"
	}
	if _, err := exec.LookPath(cc); err != nil {
		t.Skip("no compiler for Windows here: " + cc)
	}
	for _, source := range []string{"kernel_256.c", "kernel_512.c"} {
		wide := line.FindAllString(disassemble(t, object(t, cc, source)), -1)
		require.NotEmpty(t, wide)
		for _, l := range wide {
			require.False(t, alignedOnStack.MatchString(l) && onStack.MatchString(l), l)
		}
	}
}
