//go:build !linux

package load

// allowedCores lists the cores that this process may use.
func allowedCores() []int { return firstCores() }
