package load

import "golang.org/x/sys/unix"

// allowedCores lists the cores that this process may use.
func allowedCores() []int {
	var set unix.CPUSet
	if err := unix.SchedGetaffinity(0, &set); err != nil {
		return firstCores()
	}
	var cores []int
	for i := 0; i < most && len(cores) < set.Count(); i++ {
		if set.IsSet(i) {
			cores = append(cores, i)
		}
	}
	return cores
}
