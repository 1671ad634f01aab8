package memory

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
)

func TestParseRoom(t *testing.T) {
	r, err := parseRoom(strings.NewReader("MemTotal:       24683656 kB\nMemFree:        23162700 kB\nMemAvailable:   24137380 kB\nHugePages_Total:       0\n"))
	require.NoError(t, err)
	require.Equal(t, Room{Total: 24683656 << 10, Available: 24137380 << 10}, r)
	for _, text := range []string{"", "MemTotal: 1 kB\n", "MemTotal: x kB\nMemAvailable: 1 kB\n", "MemTotal: 5 kB\nMemAvailable: 99999999999999999999 kB\n", "MemTotal: -5 kB\nMemAvailable: -1 kB\n"} {
		_, err := parseRoom(strings.NewReader(text))
		require.True(t, fault.Is(err, fault.Unavailable), "%q: %v", text, err)
	}
}
