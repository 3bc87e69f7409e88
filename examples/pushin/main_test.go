package main

import (
	"testing"

	"example.com/platewright/examples/internal/trial"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
)

func TestRun(t *testing.T) {
	assert.Empty(t, cmp.Diff(want, trial.Drawn(t, run, "what-is-left.png")))
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
`
