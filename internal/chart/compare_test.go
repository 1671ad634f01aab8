package chart

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestCompare(t *testing.T) {
	one, two := example().Evidence, example().Evidence
	two.Need = two.Need[1:]
	two.Keep = nil
	c := Compare([]Session{{"Old <paste>", one}, {"New paste", two}, {"Empty", Data{}.Evidence}})
	require.Equal(t, "A: ratio 49 needs about 1.168\u00a0V, ratio 51 about 1.246\u00a0V. B: ratio 50 needs about 1.204\u00a0V, ratio 51 about 1.246\u00a0V. C has no evidence of its need yet.", c.Says)
	require.Len(t, c.Table.Rows, 5)
	require.NotContains(t, c.Inline(), "<paste>")
	require.Equal(t, 1, strings.Count(c.Inline(), "stroke-dasharray"), "the second line is dashed, the first is not")
	require.Contains(t, strings.Join(texts(t, c.Inline(), "title"), "\n"), "Keep of A: ratio 50 at about 1.222\u00a0V")
	require.Subset(t, texts(t, c.Inline(), "text"), []string{"A", "B"})
	require.True(t, Compare(nil).Empty)
	require.Len(t, Compare(make([]Session, 9)).Table.Rows, 0)
}
