package arch

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var (
	testFunc  = regexp.MustCompile(`(?m)^func ((?:Test|Fuzz)\w+)\(\w+ \*testing\.[TF]\)`)
	namedTest = regexp.MustCompile("`((?:Test|Fuzz)\\w+)`")
)

// TestSecurityTable holds docs/security.md to the tests that it names, and
// both to the numbers A01 to A35 and R30 to R41.
func TestSecurityTable(t *testing.T) {
	root := filepath.Join("..", "..")
	have := map[string]bool{}
	require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		body, err := os.ReadFile(path)
		for _, m := range testFunc.FindAllStringSubmatch(string(body), -1) {
			have[m[1]] = true
		}
		return err
	}))
	doc, err := os.ReadFile(filepath.Join(root, "docs", "security.md"))
	require.NoError(t, err)
	names := namedTest.FindAllStringSubmatch(string(doc), -1)
	require.Greater(t, len(names), 70)
	for _, m := range names {
		require.True(t, have[m[1]], "docs/security.md names a test that is not there: %s", m[1])
	}
	for name := range have {
		if regexp.MustCompile(`^TestA\d\d`).MatchString(name) {
			require.Contains(t, string(doc), "`"+name+"`")
		}
	}
	for n := 1; n <= 35; n++ {
		require.Regexp(t, fmt.Sprintf("(?m)^\\| A%02d \\|.*`TestA%02d\\w+`", n, n), string(doc))
	}
	for n := 30; n <= 41; n++ {
		require.Regexp(t, fmt.Sprintf("(?m)^\\| R%d .*`(Test|Fuzz)\\w+`", n), string(doc))
	}
}
