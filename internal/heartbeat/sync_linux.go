package heartbeat

import (
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// syncData writes the file's data through to the device. The file never
// changes its size, so its metadata need not be written each time.
func syncData(f *os.File) error { return unix.Fdatasync(int(f.Fd())) }

// SinceBoot returns the time since the operating system started, sleep
// included.
func SinceBoot() (time.Duration, error) {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &t); err != nil {
		return 0, err
	}
	return time.Duration(t.Nano()), nil
}
