package bootlog

import (
	"encoding/binary"
	"os"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"

	"belay/internal/aftermath"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func file(body string, at time.Time) *fstest.MapFile {
	return &fstest.MapFile{Data: []byte(body), ModTime: at}
}

func kinds(signs []aftermath.Sign) []aftermath.Kind {
	var out []aftermath.Kind
	for _, s := range signs {
		out = append(out, s.Kind)
	}
	return out
}

func TestLinuxBoot(t *testing.T) {
	b := Linux(fstest.MapFS{
		"proc/sys/kernel/random/boot_id": file("5f8c3f0e-0000-4000-8000-000000000001\n", noon),
		"proc/stat":                      file("cpu  1 2 3\nbtime 1772366400\nprocesses 9\n", noon),
	})
	require.Equal(t, "5f8c3f0e-0000-4000-8000-000000000001", b.ID)
	require.True(t, noon.Equal(b.Started))
	require.Equal(t, Boot{}, Linux(fstest.MapFS{}))
}

// File names as the kernel's documentation of persistent storage gives them.
func TestCrashRecords(t *testing.T) {
	dump := "Panic#1 Part1\n<0>[  512.1] Kernel panic - not syncing\n"
	machine := "Panic#1 Part1\n<0>[  512.0] mce: [Hardware Error]: CPU 3: Machine Check\n"
	for name, c := range map[string]struct {
		tree fstest.MapFS
		want []aftermath.Kind
	}{
		"nothing":      {fstest.MapFS{}, nil},
		"panic":        {fstest.MapFS{"sys/fs/pstore/dmesg-efi-1": file(dump, noon)}, []aftermath.Kind{aftermath.StopError}},
		"archived":     {fstest.MapFS{"var/lib/systemd/pstore/177/001/dmesg-erst-9": file(dump, noon)}, []aftermath.Kind{aftermath.StopError}},
		"old":          {fstest.MapFS{"var/lib/systemd/pstore/1/dmesg-erst-9": file(dump, noon.Add(-time.Hour))}, nil},
		"machine":      {fstest.MapFS{"sys/fs/pstore/dmesg-efi-1": file(machine, noon)}, []aftermath.Kind{aftermath.HardwareError}},
		"its record":   {fstest.MapFS{"sys/fs/pstore/mce-erst-2": file("\x00\x01", noon)}, []aftermath.Kind{aftermath.HardwareError}},
		"console only": {fstest.MapFS{"sys/fs/pstore/console-ramoops-0": file(dump, noon)}, nil},
		"watchdog":     {fstest.MapFS{"sys/class/watchdog/watchdog0/bootstatus": file("32\n", noon)}, []aftermath.Kind{aftermath.Watchdog}},
		"watchdog ok":  {fstest.MapFS{"sys/class/watchdog/watchdog0/bootstatus": file("0\n", noon)}, nil},
		"odd content":  {fstest.MapFS{"sys/class/watchdog/watchdog0/bootstatus": file("unknown\n", noon)}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			require.Equal(t, c.want, kinds(LinuxSigns(c.tree, noon.Add(-time.Minute))))
		})
	}
}

// login is one record of utmp(5).
func login(kind uint16, user string, at time.Time) string {
	r := make([]byte, 384)
	binary.LittleEndian.PutUint16(r, kind)
	copy(r[44:], user)
	binary.LittleEndian.PutUint32(r[340:], uint32(at.Unix()))
	return string(r)
}

func TestStartsAndStops(t *testing.T) {
	boot := func(m int) string { return login(2, "reboot", noon.Add(time.Duration(m)*time.Minute)) }
	stop := func(m int) string { return login(1, "shutdown", noon.Add(time.Duration(m)*time.Minute)) }
	level := func(m int) string { return login(1, "runlevel", noon.Add(time.Duration(m)*time.Minute)) }
	for name, c := range map[string]struct {
		records string
		want    []aftermath.Kind
	}{
		"first start":            {boot(0), nil},
		"orderly":                {boot(-60) + level(-59) + stop(10) + boot(12) + level(12), []aftermath.Kind{aftermath.CleanStop}},
		"unclean":                {boot(-60) + level(-59) + boot(12) + level(12), []aftermath.Kind{aftermath.Unexpected}},
		"an older orderly stop":  {stop(-65) + boot(-60) + boot(12), []aftermath.Kind{aftermath.Unexpected}},
		"stop before the trial":  {boot(-60) + stop(-30) + boot(-20), nil},
		"empty":                  {"", nil},
		"cut in the last record": {boot(-60) + boot(12) + "half", []aftermath.Kind{aftermath.Unexpected}},
	} {
		t.Run(name, func(t *testing.T) {
			tree := fstest.MapFS{"var/log/wtmp": file(c.records, noon)}
			require.Equal(t, c.want, kinds(LinuxSigns(tree, noon.Add(-time.Minute))))
		})
	}
}

func TestWindowsSigns(t *testing.T) {
	f, err := os.Open("testdata/system.xml")
	require.NoError(t, err)
	defer f.Close()
	signs := WindowsSigns(f, time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC))
	require.Equal(t, []aftermath.Kind{
		aftermath.Unexpected, aftermath.Unexpected, aftermath.StopError, aftermath.PowerButton,
		aftermath.HardwareError, aftermath.CorrectedError, aftermath.CleanStop, aftermath.CleanStop,
	}, kinds(signs))
	require.Equal(t, "The system stopped itself with error 0x124.", signs[2].Detail)
}

func TestADamagedLogGivesWhatItHas(t *testing.T) {
	body, err := os.ReadFile("testdata/system.xml")
	require.NoError(t, err)
	whole := string(body)
	cut := whole[:strings.Index(whole, "BugcheckCode\">292")]
	require.Len(t, WindowsSigns(strings.NewReader(cut), time.Time{}), 3, "the old one and two before the cut")
	require.Empty(t, WindowsSigns(strings.NewReader("no xml"), time.Time{}))
}
