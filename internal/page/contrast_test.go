package page

import (
	"io/fs"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/web"
)

// Least contrasts. Source: WCAG 2.2, success criteria 1.4.3 and 1.4.11.
const (
	textContrast    = 4.5
	controlContrast = 3.0
)

// luminance is the relative luminance of "#rrggbb". Source: WCAG 2.2,
// definition of relative luminance.
func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	n, err := strconv.ParseUint(strings.TrimPrefix(hex, "#"), 16, 32)
	require.NoError(t, err, hex)
	part := func(shift int) float64 {
		c := float64(n>>shift&0xff) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*part(16) + 0.7152*part(8) + 0.0722*part(0)
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	la, lb := luminance(t, a), luminance(t, b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func TestContrastFormula(t *testing.T) {
	require.InDelta(t, 21, contrast(t, "#000000", "#ffffff"), 1e-9) // WCAG 2.2: black on white is 21:1
	require.InDelta(t, 4.54, contrast(t, "#767676", "#ffffff"), 0.01)
}

// themes reads the colours of both themes from the style sheet.
func themes(t *testing.T) map[string]map[string]string {
	t.Helper()
	css, err := fs.ReadFile(web.Files(), "shared/tones.css")
	require.NoError(t, err)
	variable := regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{6});`)
	parts := regexp.MustCompile(`:root \{[^}]*\}`).FindAllString(string(css), -1)
	require.GreaterOrEqual(t, len(parts), 2)
	out := map[string]map[string]string{}
	for i, theme := range []string{"light", "dark"} {
		out[theme] = map[string]string{}
		for _, m := range variable.FindAllStringSubmatch(parts[i], -1) {
			out[theme][m[1]] = m[2]
		}
	}
	require.Len(t, out["dark"], len(out["light"]), "both themes name the same colours")
	return out
}

func TestContrastInBothThemes(t *testing.T) {
	pairs := []struct {
		front, back string
		least       float64
	}{
		{"ink", "paper", textContrast}, {"ink", "card", textContrast}, {"ink", "wash", textContrast}, {"ink", "notice-wash", textContrast},
		{"ink", "caution-wash", textContrast}, {"ink", "warning-wash", textContrast},
		{"soft", "paper", textContrast}, {"soft", "card", textContrast}, {"soft", "wash", textContrast}, {"soft", "notice-wash", textContrast},
		{"soft", "caution-wash", textContrast}, {"soft", "warning-wash", textContrast},
		{"accent", "paper", textContrast}, {"accent", "card", textContrast}, {"accent", "wash", textContrast},
		{"on-accent", "accent", textContrast}, {"wrong", "card", textContrast},
		{"caution", "caution-wash", textContrast}, {"warning", "warning-wash", textContrast},
		{"control", "paper", controlContrast}, {"control", "card", controlContrast}, {"control", "wash", controlContrast},
		{"caution", "card", controlContrast}, {"warning", "card", controlContrast}, {"accent", "card", controlContrast},
	}
	for name, colours := range themes(t) {
		for _, p := range pairs {
			got := contrast(t, colours[p.front], colours[p.back])
			require.GreaterOrEqual(t, got, p.least, "%s: %s on %s", name, p.front, p.back)
		}
	}
}

func TestColoursStandInOnePlace(t *testing.T) {
	literal := regexp.MustCompile(`#[0-9a-fA-F]{3,8}\b|rgba?\(|hsla?\(`)
	require.NoError(t, fs.WalkDir(web.Files(), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(name, ".css") || name == "shared/tones.css" {
			return err
		}
		css, err := fs.ReadFile(web.Files(), name)
		require.Empty(t, literal.FindAllString(string(css), -1), name)
		return err
	}))
}
