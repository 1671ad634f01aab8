package page

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var whyPart = regexp.MustCompile(`(?ms)^## Why\n(.*?)\n## `)

// TestWhyTextsAreThoseOfTheModels holds why.yaml equal to the documents.
func TestWhyTextsAreThoseOfTheModels(t *testing.T) {
	texts, err := whyTexts()
	require.NoError(t, err)
	files, err := filepath.Glob("../../docs/models/*.md")
	require.NoError(t, err)
	var documented []string
	for _, file := range files {
		body, err := os.ReadFile(file)
		require.NoError(t, err)
		found := whyPart.FindSubmatch(body)
		if found == nil {
			require.NotContains(t, string(body), "## Why", file)
			continue
		}
		name := strings.TrimSuffix(filepath.Base(file), ".md")
		documented = append(documented, name)
		var words []string
		for _, line := range strings.Split(string(found[1]), "\n") {
			words = append(words, strings.Fields(strings.TrimPrefix(line, ">"))...)
		}
		require.Equal(t, strings.Join(words, " "), texts[name], name)
		for _, sentence := range regexp.MustCompile(`[.!?:;] `).Split(texts[name], -1) {
			require.LessOrEqual(t, len(strings.Fields(sentence)), 24, "%s: %s", name, sentence)
		}
	}
	require.Len(t, texts, len(documented))
	for _, name := range []string{"stability", "heat", "loadline", "memory", "gain", "wear", "cause"} {
		require.True(t, slices.Contains(documented, name), name)
	}
}
