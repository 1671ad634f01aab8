package load

import (
	"os"
	"testing"

	"go.uber.org/goleak"
)

// TestMain makes the test program its own child, one that obeys disturbances.
// The child of the real program does not know them.
func TestMain(m *testing.M) {
	if IsChild(os.Args) {
		os.Exit(child(os.Stdin, os.Stdout, true))
	}
	goleak.VerifyTestMain(m)
}
