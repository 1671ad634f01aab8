package march

import (
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
)

// The tests element by element as published: van de Goor 1993 (MATS+,
// March C-), Hamdioui, van de Goor and Rodgers 2002 (March SS).
func TestPublishedElements(t *testing.T) {
	for _, c := range []struct {
		test   Test
		want   string
		length int
	}{
		{MATSPlus(), "A(w0) U(r0,w1) D(r1,w0)", 5},
		{CMinus(), "A(w0) U(r0,w1) U(r1,w0) D(r0,w1) D(r1,w0) A(r0)", 10},
		{SS(), "A(w0) U(r0,r0,w0,r0,w1) U(r1,r1,w1,r1,w0) D(r0,r0,w0,r0,w1) D(r1,r1,w1,r1,w0) A(r0)", 22},
	} {
		require.Equal(t, c.want, c.test.String())
		require.Equal(t, c.length, c.test.Length())
	}
}

func TestParseRefuses(t *testing.T) {
	for _, text := range []string{"", "U", "U()", "X(r0)", "U(r2)", "U(r0,)", "U(r0", "Ur0)", "UU(r0)", "(r0)", "U(r0,w1)D(r1)"} {
		_, err := Parse(text)
		require.True(t, fault.Is(err, fault.Invalid), "%q: %v", text, err)
	}
}

func FuzzParse(f *testing.F) {
	f.Add("A(w0) U(r0,w1) D(r1,w0)")
	f.Add("A(w0")
	f.Fuzz(func(t *testing.T, text string) {
		test, err := Parse(text)
		if err != nil {
			return
		}
		again, err := Parse(test.String())
		require.NoError(t, err)
		require.Equal(t, test, again)
	})
}
