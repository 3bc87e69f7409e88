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
	f, err := os.Open(filepath.Join(out, "set-and-wall.png"))
	require.NoError(t, err)
	defer f.Close()
	_, err = png.Decode(f)
	require.NoError(t, err)
	assert.Error(t, run(&text, filepath.Join(out, "set-and-wall.png")), "a file is no folder")
}

const want = `Actors at 3 m, the wall at 6 m, a lens of 40 mm. What keeps 50 % of the contrast of both?

period   on the sensor  focus   stop    contrast left  verdict
2 px      53.3 lp/mm    4.00 m  f/11.3   43 %          7 points short, most is taken by diffraction
3 px      35.5 lp/mm    4.00 m  f/11.0   60 %          holds
4 px      26.6 lp/mm    4.00 m  f/10.6   71 %          holds
6 px      17.8 lp/mm    4.00 m  f/9.7    82 %          holds
8 px      13.3 lp/mm    4.00 m  f/9.0    87 %          holds

The chart is in set-and-wall.png
`
