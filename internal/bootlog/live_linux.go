package bootlog

import (
	"os"
	"time"

	"belay/internal/aftermath"
)

// Now returns the present boot of this PC.
func Now() Boot { return Linux(os.DirFS("/")) }

// Signs returns what this PC recorded of its stops since the time given.
func Signs(since time.Time) []aftermath.Sign { return LinuxSigns(os.DirFS("/"), since) }
