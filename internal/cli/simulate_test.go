package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

func simulate(t *testing.T, args ...string) (code int, out, messages string) {
	t.Helper()
	var o, m bytes.Buffer
	code = Run(context.Background(), append([]string{"simulate"}, args...), Ports{}, &o, &m)
	return code, o.String(), m.String()
}

func TestSimulatePrintsJSON(t *testing.T) {
	code, out, messages := simulate(t, "--rigs", "1", "--seed", "5", "--json")
	require.Equal(t, done, code)
	require.Empty(t, messages, "no bar where there is no terminal")
	var got struct {
		Rigs       int
		Seed       uint64
		Variant    string
		Strategies []map[string]any
	}
	require.NoError(t, json.Unmarshal([]byte(out), &got))
	require.Equal(t, 1, got.Rigs)
	require.EqualValues(t, 5, got.Seed)
	require.Equal(t, "own", got.Variant)
	require.Len(t, got.Strategies, 1)
	s := got.Strategies[0]
	require.Equal(t, "guided", s["name"])
	require.Len(t, s["calibration"], 10)
	for _, key := range []string{
		"hours_median", "hours_p90", "trials_mean", "crashes_mean", "crashes_p90", "target_met_share",
		"ratio_regret", "over_oracle_mv", "max_load_voltage_v", "max_over_limit_c",
	} {
		require.IsType(t, 0.0, s[key], key)
	}
	require.Len(t, s, 12)
	bin := s["calibration"].([]any)[9].(map[string]any)
	require.InDelta(t, 0.9, bin["stated_low"], 1e-12)
	require.InDelta(t, 1, bin["stated_high"], 1e-12)
	require.Contains(t, bin, "rigs")
	require.Contains(t, bin, "true_share")
}

func TestSimulatePrintsATable(t *testing.T) {
	code, out, _ := simulate(t, "--rigs", "1", "--seed", "5", "--variant", "per-core")
	require.Equal(t, done, code)
	require.Contains(t, out, "target met")
	require.Contains(t, out, "1 rig, variant per-core, from seed 5.")
}

func TestSimulateRefusesWrongNames(t *testing.T) {
	for _, args := range [][]string{{"--variant", "lucky"}, {"--strategy", "hope"}, {"--rigs", "some"}} {
		code, out, messages := simulate(t, args...)
		require.Equal(t, misused, code)
		require.Empty(t, out)
		require.Contains(t, messages, args[1])
	}
	code, _, messages := simulate(t, "--rigs", "0")
	require.Equal(t, failed, code)
	require.Contains(t, messages, "1 to 1000000")
}
