package page

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The charts page shows each picture with its words and numbers.
func TestChartsPage(t *testing.T) {
	e := serve(t, scenes())
	d := get(t, e, "/s/core/charts")
	require.Len(t, d.tag("figure"), 4)
	require.Contains(t, d.raw, "<figcaption>For the target, ratio")
	require.Contains(t, d.raw, "<svg")
	picture := get(t, e, "/s/core/charts/need.svg")
	require.Equal(t, http.StatusOK, picture.status)
	require.Equal(t, "image/svg+xml", picture.header.Get("Content-Type"))
	require.True(t, strings.HasPrefix(picture.raw, "<svg"))
	for _, path := range []string{"/s/core/charts/dial.svg", "/s/core/charts/need.png", "/s/nobody/charts", "/s/nobody/charts/need.svg"} {
		require.Equal(t, http.StatusNotFound, get(t, e, path).status, path)
	}
}
