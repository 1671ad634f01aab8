package bootlog

import (
	"bytes"
	"os/exec"
	"strconv"
	"time"

	"golang.org/x/sys/windows"
	"golang.org/x/sys/windows/registry"

	"belay/internal/aftermath"
)

// Now returns the present boot of this PC. The system counts its boots in the
// registry (from memory; where it does not, the id stays empty).
func Now() Boot {
	b := Boot{Started: time.Now().Add(-windows.DurationSinceBoot())}
	const where = `SYSTEM\CurrentControlSet\Control\Session Manager\Memory Management\PrefetchParameters`
	key, err := registry.OpenKey(registry.LOCAL_MACHINE, where, registry.QUERY_VALUE)
	if err != nil {
		return b
	}
	defer key.Close()
	if n, _, err := key.GetIntegerValue("BootId"); err == nil {
		b.ID = strconv.FormatUint(n, 10)
	}
	return b
}

// Signs returns what this PC recorded of its stops since the time given. The
// newest 200 records cover a start and the stop before it.
func Signs(since time.Time) []aftermath.Sign {
	out, err := exec.Command("wevtutil", "qe", "System", "/rd:true", "/c:200", "/f:xml").Output()
	if err != nil {
		return nil
	}
	return WindowsSigns(bytes.NewReader(out), since)
}
