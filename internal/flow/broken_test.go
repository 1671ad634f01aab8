package flow

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
)

// broken is one way to break the good flow: texts to replace, and what the
// loader must say. The file has parts that begin with "-- NAME --": pairs of
// "FILE old" and "FILE new" (an empty old adds at the end), then "want".
type broken struct {
	edits []edit
	want  string
	head  string // the file up to want
}

type edit struct{ file, old, new string }

func readCase(t testing.TB, file string) broken {
	t.Helper()
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	head, want, ok := strings.Cut(string(data), "-- want --\n")
	require.True(t, ok, "%s has no want", file)
	b := broken{want: want, head: head}
	for _, part := range strings.Split("\n"+head, "\n-- ")[1:] {
		name, body, _ := strings.Cut(part, " --\n")
		which, what, ok := strings.Cut(name, " ")
		require.True(t, ok, "%s: %q", file, name)
		body = strings.TrimSuffix(body, "\n")
		if what == "old" {
			b.edits = append(b.edits, edit{file: which, old: body})
		} else {
			b.edits[len(b.edits)-1].new = body
		}
	}
	return b
}

// files is the good flow with the edits made.
func (b broken) files(t testing.TB) fstest.MapFS {
	t.Helper()
	files := goodFiles(t)
	for _, e := range b.edits {
		f := files[e.file]
		require.NotNil(t, f, e.file)
		if e.old == "" {
			f.Data = append(f.Data, e.new+"\n"...)
			continue
		}
		require.Equal(t, 1, strings.Count(string(f.Data), e.old), "%q must be in %s once", e.old, e.file)
		f.Data = []byte(strings.Replace(string(f.Data), e.old, e.new, 1))
	}
	return files
}

func TestBroken(t *testing.T) {
	cases, err := filepath.Glob("testdata/broken/*.txt")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(cases), 25)
	said := map[string]string{}
	for _, file := range cases {
		name := strings.TrimSuffix(filepath.Base(file), ".txt")
		t.Run(name, func(t *testing.T) {
			b := readCase(t, file)
			_, err := Load(b.files(t), "small")
			require.Error(t, err)
			if *update {
				require.NoError(t, os.WriteFile(file, []byte(b.head+"-- want --\n"+err.Error()), 0o644))
			} else {
				require.Equal(t, b.want, err.Error())
			}
			var problems *Problems
			require.ErrorAs(t, err, &problems)
			for _, p := range *problems {
				require.Empty(t, said[p.Message], "another case says the same")
				require.NotEmpty(t, p.Next)
				require.Positive(t, p.Line)
				require.Positive(t, p.Column)
			}
			for _, p := range *problems {
				said[p.Message] = name
			}
		})
	}
}
