//go:build !linux && !windows

package bootlog

import (
	"time"

	"belay/internal/aftermath"
)

// Now returns an empty boot: this system is not known.
func Now() Boot { return Boot{} }

// Signs returns nothing: this system is not known.
func Signs(time.Time) []aftermath.Sign { return nil }
