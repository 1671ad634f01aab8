package paper

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
)

// The hash is that of the example in W3C Content Security Policy Level 3,
// section 8.4 ("alert('Hello, world.');"), recalled from memory.
func TestSource(t *testing.T) {
	require.Equal(t, "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='", Source("alert('Hello, world.');"))
}

// The sizes are those of ISO/IEC 18004 for byte mode at level M: version 13
// (69 modules) takes 331 bytes, version 19 (93 modules) takes 624.
func TestQRSize(t *testing.T) {
	for _, c := range []struct{ bytes, size int }{{1, 21}, {300, 69}, {600, 93}} {
		code, err := QR(strings.Repeat("x", c.bytes))
		require.NoError(t, err)
		require.Equal(t, c.size, code.Size, "%d bytes", c.bytes)
	}
	_, err := QR(strings.Repeat("x", MostQR+1))
	require.Equal(t, fault.Limit, fault.CodeOf(err))
	_, err = QR("")
	require.Equal(t, fault.Invalid, fault.CodeOf(err))
}

// The three finder patterns are 7 modules wide, dark outside, as ISO/IEC 18004
// draws them; the runs cover each dark module once.
func TestQRFinders(t *testing.T) {
	code, err := QR("Core ratio 50\nCore voltage 1.255 V")
	require.NoError(t, err)
	dark := map[[2]int]bool{}
	for _, r := range code.Dark {
		for x := range r.Width {
			at := [2]int{r.X + x, r.Y}
			require.False(t, dark[at])
			dark[at] = true
		}
	}
	for _, corner := range [][2]int{{0, 0}, {code.Size - 7, 0}, {0, code.Size - 7}} {
		for i := range 7 {
			for _, at := range [][2]int{{i, 0}, {i, 6}, {0, i}, {6, i}, {3, 3}} {
				require.True(t, dark[[2]int{corner[0] + at[0], corner[1] + at[1]}], "%v %v", corner, at)
			}
			if i > 0 && i < 6 {
				require.False(t, dark[[2]int{corner[0] + i, corner[1] + 1}])
			}
		}
	}
	svg := code.SVG(`a "name" & more`)
	require.Contains(t, svg, `aria-label="a &#34;name&#34; &amp; more"`)
	require.Equal(t, len(code.Dark), strings.Count(svg, "v1h-"))
}
