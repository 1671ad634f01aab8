package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/rig"
	"belay/internal/rig/rigtest"
)

func TestRig(t *testing.T) {
	run := func(args ...string) (int, string, string) {
		var out, messages bytes.Buffer
		code := Run(context.Background(), append([]string{"rig"}, args...), Ports{}, &out, &messages)
		return code, out.String(), messages.String()
	}
	dir := t.TempDir()
	require.NoError(t, rigtest.Load("amber").Write(dir))

	code, out, _ := run("--root", dir, "--json")
	require.Equal(t, done, code)
	var report rig.Report
	require.NoError(t, json.Unmarshal([]byte(out), &report))
	require.Equal(t, rig.Yes, report.Profile.Answer)
	require.Len(t, report.Modules, 2)

	code, out, _ = run("--root", dir)
	require.Equal(t, done, code)
	for _, line := range []string{
		"Cores", "8   [sys/devices/system/cpu/cpu*/topology]", "125 W   [sys/class/powercap/zone:0/constraint_0_power_limit_uw]",
		"DIMM A2: 16 GB DDR4, rated 3600 MT/s, runs at 3600 MT/s, 1.350 V", "used for load_voltage_v", "cpu0 and 15 more",
		"Memory errors, corrected: The system does not count this.", "Did the memory profile take effect? Yes.",
	} {
		require.Contains(t, out, line)
	}

	code, _, messages := run("--root", dir+"/nothing")
	require.Equal(t, failed, code)
	require.Contains(t, messages, "Name a folder")
}
