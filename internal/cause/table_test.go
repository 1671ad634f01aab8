package cause_test

import (
	"os"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/require"

	"belay/internal/cause"
	"belay/internal/fault"
	"belay/internal/trial"
)

// table decodes the table that ships, strictly.
func table(t *testing.T) cause.Table {
	t.Helper()
	data, err := os.ReadFile("../../flows/causes.yaml")
	require.NoError(t, err)
	var out cause.Table
	require.NoError(t, yaml.UnmarshalWithOptions(data, &out, yaml.Strict()))
	return out
}

func TestShippedTableIsSound(t *testing.T) {
	tab := table(t)
	require.NoError(t, tab.Validate())
	for _, c := range tab.Causes {
		require.Equal(t, "common practice, no source", c.PriorSource, c.ID)
		for _, r := range c.Likelihoods {
			require.Equal(t, "common practice, no source", r.Source, "%s %s", c.ID, r.Feature)
		}
	}
	for _, x := range tab.Tests {
		require.Equal(t, "common practice, no source", x.Source, x.ID)
	}
}

// Every word of the program is a value of the table, so that no evidence is
// lost for want of a row.
func TestTableKnowsEveryWord(t *testing.T) {
	tab := table(t)
	for _, o := range trial.Outcomes {
		known := cause.Evidence{Symptom: o}.Check(tab) == nil
		require.Equal(t, o.Failed() || o.Hot(), known, string(o))
	}
	for _, l := range trial.Loads {
		require.NoError(t, cause.Evidence{Load: l}.Check(tab), string(l))
	}
	for _, v := range []cause.Timing{cause.AtOnce, cause.Minute, cause.Late} {
		require.NoError(t, cause.Evidence{Timing: v}.Check(tab))
	}
	for _, v := range []cause.Change{cause.Ratio, cause.Voltage, cause.CacheRatio, cause.MemoryRate, cause.MemoryTiming,
		cause.MemoryVoltage, cause.LoadLine, cause.PowerLimit, cause.Nothing} {
		require.NoError(t, cause.Evidence{Change: v}.Check(tab))
	}
	for _, v := range []cause.Bank{cause.CoreBank, cause.CacheBank, cause.MemoryBank, cause.NoBank} {
		require.NoError(t, cause.Evidence{Bank: v}.Check(tab))
	}
	for _, v := range []cause.Pattern{cause.OneBit, cause.OneModule, cause.Everywhere, cause.NoErrors} {
		require.NoError(t, cause.Evidence{Pattern: v}.Check(tab))
	}
	for _, s := range cause.Stages() {
		used := false
		for _, c := range tab.Causes {
			used = used || c.Stage == s
		}
		require.True(t, used, "no cause leads back to %s", s)
	}
}

func TestEvidenceCheckNamesTheField(t *testing.T) {
	tab := table(t)
	err := cause.Evidence{Bank: "gpu", Tests: []cause.Tested{{Test: "read-log"}, {Test: "nonsense"}}}.Check(tab)
	require.True(t, fault.Is(err, fault.Invalid))
	var f *fault.Error
	require.ErrorAs(t, err, &f)
	require.Len(t, f.Fields, 3)
	require.Equal(t, "bank", f.Fields[0].Field)
	require.Equal(t, "tests", f.Fields[1].Field)
	require.NoError(t, cause.Evidence{}.Check(tab))
}

func TestValidateFindsEachMistake(t *testing.T) {
	for _, c := range []struct {
		name   string
		spoil  func(*cause.Table)
		wanted string
	}{
		{"version", func(x *cause.Table) { x.Version = 2 }, "version: must be 1"},
		{"feature twice", func(x *cause.Table) { x.Features = append(x.Features, x.Features[0]) }, "appears twice"},
		{"feature unknown", func(x *cause.Table) { x.Features[0].ID = "mood" }, "is not a feature that evidence has"},
		{"feature missing", func(x *cause.Table) { x.Features = x.Features[1:] }, "symptom is missing"},
		{"one value", func(x *cause.Table) { x.Features[0].Values = x.Features[0].Values[:1] }, "two values or more"},
		{"no question", func(x *cause.Table) { x.Features[1].Question = "" }, "is empty"},
		{"no id", func(x *cause.Table) { x.Causes[0].ID = "" }, "has no id"},
		{"stage", func(x *cause.Table) { x.Causes[0].Stage = "garage" }, "not a stage"},
		{"prior", func(x *cause.Table) { x.Causes[0].Prior = 0 }, "must lie from 0.005 to 1"},
		{"prior sum", func(x *cause.Table) { x.Causes[0].Prior += 0.1 }, "the priors sum to 1.1000"},
		{"row sum", func(x *cause.Table) { x.Causes[0].Likelihoods[0].Values["error"] += 0.1 }, "sums to 1.1000"},
		{"row zero", func(x *cause.Table) { x.Causes[0].Likelihoods[0].Values["error"] = 0 }, "error must lie from"},
		{"row value missing", func(x *cause.Table) { delete(x.Causes[0].Likelihoods[0].Values, "error") }, "error is missing"},
		{"row value extra", func(x *cause.Table) { x.Causes[0].Likelihoods[0].Values["smoke"] = 0.5 }, "does not have"},
		{"row unknown", func(x *cause.Table) { x.Causes[0].Likelihoods[0].Feature = "mood" }, "is not a feature"},
		{"row missing", func(x *cause.Table) { x.Causes[0].Likelihoods = x.Causes[0].Likelihoods[1:] }, "symptom is missing"},
		{"row source", func(x *cause.Table) { x.Causes[0].Likelihoods[0].Source = "" }, "source: is empty"},
		{"one cause", func(x *cause.Table) { x.Causes = x.Causes[:1] }, "two or more"},
		{"no test", func(x *cause.Table) { x.Tests = nil }, "one or more"},
		{"test minutes", func(x *cause.Table) { x.Tests[0].Minutes = 0 }, "must be above 0"},
		{"test changes", func(x *cause.Table) { x.Tests[0].FirmwareChanges = -1 }, "must not be negative"},
		{"test crashes", func(x *cause.Table) { x.Tests[0].CrashShare = 2 }, "must lie from 0 to 1"},
		{"test chance", func(x *cause.Table) { x.Tests[0].Fails["heat"] = 1 }, "heat must lie from"},
		{"test row missing", func(x *cause.Table) { delete(x.Tests[0].Fails, "heat") }, "heat is missing"},
		{"test row extra", func(x *cause.Table) { x.Tests[0].Fails["ghost"] = 0.5 }, "a cause that does not exist"},
		{"test observes", func(x *cause.Table) { x.Tests[1].Observe = "mood" }, "mood is not a feature"},
		{"test both", func(x *cause.Table) { x.Tests[0].Observe = "bank" }, "cannot fail"},
	} {
		t.Run(c.name, func(t *testing.T) {
			tab := table(t)
			c.spoil(&tab)
			err := tab.Validate()
			require.True(t, fault.Is(err, fault.Invalid))
			require.ErrorContains(t, err, c.wanted)
		})
	}
}
