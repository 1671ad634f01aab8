package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/calc"
)

// section is one calculator of docs/calculators.md with its examples.
type section struct {
	name     string
	commands []example
	post     string // body of the request
}

// example is one command line with what it prints.
type example struct{ line, out string }

var fence = regexp.MustCompile("(?ms)^```([a-z]+)\n(.*?)^```$")

// documented reads the examples of docs/calculators.md, and writes the file
// of trials that they read into folder.
func documented(t *testing.T, folder string) []section {
	t.Helper()
	text, err := os.ReadFile("../../docs/calculators.md")
	require.NoError(t, err)
	var out []section
	for _, part := range strings.Split(string(text), "\n## ")[1:] {
		name, _, _ := strings.Cut(part, ":")
		s := section{name: name}
		for _, block := range fence.FindAllStringSubmatch(part, -1) {
			switch block[1] {
			case "jsonl":
				require.NoError(t, os.WriteFile(filepath.Join(folder, "trials.jsonl"), []byte(block[2]), 0o600))
			case "console":
				for _, one := range strings.Split("\n"+block[2], "\n$ ")[1:] {
					line, printed, _ := strings.Cut(one, "\n")
					s.commands = append(s.commands, example{line, strings.TrimSuffix(printed, "\n")})
				}
			case "http":
				line, body, _ := strings.Cut(block[2], "\n")
				require.Equal(t, "POST /api/v1/calc/"+name, line)
				s.post = body
			}
		}
		out = append(out, s)
	}
	return out
}

// TestCalculatorsAsDocumented runs every example of docs/calculators.md. The
// last command of each section and its request are the same calculation, so
// they give the same bytes.
func TestCalculatorsAsDocumented(t *testing.T) {
	folder := t.TempDir()
	server := start(t, filepath.Join(folder, "data"))
	var seen []string
	for _, s := range documented(t, folder) {
		seen = append(seen, s.name)
		require.GreaterOrEqual(t, len(s.commands), 2, s.name)
		var last string
		for _, e := range s.commands {
			args := strings.Fields(strings.ReplaceAll(e.line, "trials.jsonl", filepath.Join(folder, "trials.jsonl")))
			require.Equal(t, []string{"belay", "calc", s.name}, args[:3])
			r := belay(t, args[1:]...)
			require.Equal(t, 0, r.code, r.err)
			if !strings.HasSuffix(e.line, "--json") {
				require.Equal(t, e.out, strings.TrimSuffix(r.out, "\n"), e.line)
				continue
			}
			near(t, e.out, r.out, e.line)
			last = r.out
		}
		over := server.ask("POST", "/api/v1/calc/"+s.name, s.post)
		require.JSONEq(t, last, string(over), s.name)
	}
	require.ElementsMatch(t, calc.Names(), seen)
}

// near compares two JSON texts. Numbers may differ by rounding, since not
// every processor adds and multiplies in one step.
func near(t *testing.T, want, got, name string) {
	t.Helper()
	var w, g any
	require.NoError(t, json.Unmarshal([]byte(want), &w), name)
	require.NoError(t, json.Unmarshal([]byte(got), &g), name)
	same(t, w, g, name)
}

func same(t *testing.T, want, got any, path string) {
	t.Helper()
	switch w := want.(type) {
	case float64:
		require.InDelta(t, w, got, 1e-9*(1+max(w, -w)), path)
	case []any:
		require.Len(t, got, len(w), path)
		for i := range w {
			same(t, w[i], got.([]any)[i], path)
		}
	case map[string]any:
		require.Len(t, got, len(w), path)
		for key := range w {
			require.Contains(t, got, key, path)
			same(t, w[key], got.(map[string]any)[key], path+": "+key)
		}
	default:
		require.Equal(t, want, got, path)
	}
}

// TestCalculatorsRefuseAlike gives both ways the same bad numbers.
func TestCalculatorsRefuseAlike(t *testing.T) {
	server := start(t, filepath.Join(t.TempDir(), "data"))
	r := belay(t, "calc", "wear", "--v0", "1200", "--t0", "70", "--v1", "1.26", "--t1", "178", "--json")
	require.Equal(t, 2, r.code)
	require.Empty(t, r.out)
	reply, err := server.request("POST", "/api/v1/calc/wear", server.token, `{"v0": 1200, "t0": 70, "v1": 1.26, "t1": 178}`)
	require.NoError(t, err)
	defer reply.Body.Close()
	require.Equal(t, 422, reply.StatusCode)
	var p struct {
		Errors []struct {
			Field, Message string
			Suggest        float64
		}
	}
	require.NoError(t, json.NewDecoder(reply.Body).Decode(&p))
	require.Len(t, p.Errors, 2)
	for i, want := range []float64{1.2, 81.1} {
		require.InDelta(t, want, p.Errors[i].Suggest, 1e-9)
		require.Contains(t, r.err, p.Errors[i].Field+": "+p.Errors[i].Message)
	}
}
