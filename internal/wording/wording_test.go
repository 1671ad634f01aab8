package wording

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/trial"
)

func TestChange(t *testing.T) {
	byName := map[string]Setting{}
	for _, s := range Settings {
		byName[s.Name] = s
	}
	from := trial.Settings{SetVoltage: 1.265, Ratio: 48, VoltageMode: "static"}
	for _, c := range []struct {
		name string
		to   trial.Settings
		want string
	}{
		{"set_voltage_v", trial.Settings{SetVoltage: 1.25}, "0.015\u00a0V lower than before"},
		{"set_voltage_v", trial.Settings{}, "was 1.265\u00a0V"},
		{"ratio", trial.Settings{Ratio: 50}, "2 higher than before"},
		{"ratio", trial.Settings{Ratio: 48}, "stays"},
		{"cache_ratio", trial.Settings{CacheRatio: 43}, "was as delivered"},
		{"voltage_mode", trial.Settings{VoltageMode: "adaptive"}, "was static"},
	} {
		require.Equal(t, c.want, byName[c.name].Change(from, c.to), c.name)
	}
}

func TestSettingsCoverEveryName(t *testing.T) {
	var names []string
	for _, s := range Settings {
		names = append(names, s.Name)
	}
	require.ElementsMatch(t, trial.SettingNames(), names)
}

func TestSettingBackToStockIsAChange(t *testing.T) {
	changed, stays := EnterTable(trial.Settings{Ratio: 48, CacheRatio: 43}, trial.Proposal{Settings: trial.Settings{Ratio: 48}, Changed: []string{"cache_ratio"}})
	require.Equal(t, []Row{{"cache_ratio", "Cache ratio", "43", "as delivered", "was 43", true}}, changed)
	require.Equal(t, "Core ratio", stays[0].Label)
}

func TestChance(t *testing.T) {
	for p, want := range map[float64]string{
		0.98: "very likely to hold: about 98 such trials in 100", 0.9999: "very likely to hold: about 99 such trials in 100",
		0.85: "likely to hold: about 9 such trials in 10", 0.5: "as likely to hold as not: about 5 such trials in 10",
		0.3: "less likely than not to hold: about 3 such trials in 10", 0.001: "unlikely to hold: about 1 such trials in 100",
	} {
		require.Equal(t, want, Chance(p))
	}
}

func TestNumbersAreNeverSurer(t *testing.T) {
	require.Equal(t, "99\u00a0%", Percent(0.9999))
	require.Equal(t, "89\u00a0%", Percent(0.899))
	require.Equal(t, "90\u00a0%", Percent(0.9))
	require.Equal(t, "499\u00a0h", Hours(499.9))
	require.Equal(t, "1\u00a0h 24\u00a0min", Hours(1.4))
	require.Equal(t, "about 1.262\u00a0V (1.254\u00a0to\u00a01.271)", About("V", 1.254, 1.262, 1.271))
}
