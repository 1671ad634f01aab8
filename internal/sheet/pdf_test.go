package sheet_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"belay/internal/fault"
	"belay/internal/sheet"
)

// heavy has more of everything than a page holds.
func heavy() sheet.Data {
	d := full()
	d.Practice, d.Finished = true, false
	d.Note, d.Title, d.Settings.LoadLine = strings.Repeat("note ", 400), strings.Repeat("title ", 40), strings.Repeat("level ", 30)
	for range 20 {
		d.Cautions = append(d.Cautions, d.Cautions[0])
		d.Cautions[len(d.Cautions)-1].ID = strings.Repeat("x", len(d.Cautions))
	}
	return d
}

func TestPDFIsOnePage(t *testing.T) {
	for name, d := range map[string]sheet.Data{"full": full(), "early": early(), "heavy": heavy()} {
		body, err := sheet.PDF(d)
		require.NoError(t, err, name)
		require.True(t, bytes.HasPrefix(body, []byte("%PDF-")))
		require.Len(t, regexp.MustCompile(`/Type /Page\b`).FindAll(body, -1), 1, name)
		again, err := sheet.PDF(d)
		require.NoError(t, err)
		require.Equal(t, body, again, "the same data gives the same bytes")
		require.Less(t, len(body), 200<<10)
	}
	d := full()
	d.Settings.SetVoltage /= 0
	_, err := sheet.PDF(d)
	require.Equal(t, fault.Invalid, fault.CodeOf(err))
}

// What another program reads in the file: each value to enter, and in the code
// the same values as plain text.
func TestPDFAsOthersReadIt(t *testing.T) {
	for _, tool := range []string{"pdftotext", "pdftoppm", "zbarimg"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skip("no " + tool + " on this machine: the file is only checked by its structure")
		}
	}
	body, err := sheet.PDF(full())
	require.NoError(t, err)
	dir := t.TempDir()
	file := filepath.Join(dir, "sheet.pdf")
	require.NoError(t, os.WriteFile(file, body, 0o600))
	text, err := exec.Command("pdftotext", "-layout", file, "-").Output()
	require.NoError(t, err)
	for _, r := range csvRows(t, full())[1:] {
		require.Contains(t, string(text), r[1])
	}
	for _, want := range []string{"1.285 V", "Check back", "Too many are: 2 within 100 h, or 4 within 500 h", "Back to stock"} {
		require.Contains(t, strings.Join(strings.Fields(strings.ReplaceAll(string(text), "\u00a0", " ")), " "), want)
	}
	require.NoError(t, exec.Command("pdftoppm", "-r", "200", "-png", file, filepath.Join(dir, "page")).Run())
	pictures, err := filepath.Glob(filepath.Join(dir, "page*.png"))
	require.NoError(t, err)
	require.Len(t, pictures, 1)
	code, err := exec.Command("zbarimg", "--quiet", "--raw", pictures[0]).Output()
	require.NoError(t, err)
	require.Contains(t, string(code), "Memory voltage: 1.420 V\n")
	require.Contains(t, string(code), "Core ratio on all cores: 50×\n")
}

// The count that is too many: at a claim of 500 h, two failures within 100 h
// have a chance of 1.75 %, one of 18.1 %; four within 500 h have 1.90 %, three
// 8.03 %. Poisson tail computed by hand from exp(-m) (1 + m + m²/2 + m³/6).
func TestTooManyFailures(t *testing.T) {
	md, err := sheet.HTML(full())
	require.NoError(t, err)
	require.Contains(t, string(md), "Too many are: 2 within 100\u00a0h, or 4 within 500\u00a0h.")
}
