package main

import (
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestRun(t *testing.T) {
	out := filepath.Join(t.TempDir(), "new", "folder")
	var text strings.Builder
	require.NoError(t, run(&text, out))
	assert.Empty(t, cmp.Diff(want, strings.ReplaceAll(text.String(), out+string(filepath.Separator), "")))
	f, err := os.Open(filepath.Join(out, "what-is-left.png"))
	require.NoError(t, err)
	defer f.Close()
	_, err = png.Decode(f)
	require.NoError(t, err)
	assert.Error(t, run(&text, filepath.Join(out, "what-is-left.png")), "a file is no folder")
}

const want = `Contrast that is left at f/5.6, of detail whose period is two or four delivered pixels.
A range: green photosites alone sample it, or all of them do.

push-in  photosites/px  two pixels              four pixels
 1.0 ×       3.20       75 % at 52 lp/mm        89 % at 26 lp/mm
 1.5 ×       2.13       62 % at 78 lp/mm        82 % at 39 lp/mm
 2.0 ×       1.60       48 % at 104 lp/mm       75 % at 52 lp/mm
 2.5 ×       1.28       0 to 35 % at 130 lp/mm  69 % at 65 lp/mm
 3.0 ×       1.07       0 to 25 % at 156 lp/mm  62 % at 78 lp/mm
 4.0 ×       0.80       nothing at 208 lp/mm    48 % at 104 lp/mm

The chart is in what-is-left.png
`
