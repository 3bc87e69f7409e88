package main

import (
	"testing"

	"example.com/platewright/examples/internal/trial"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
)

func TestRun(t *testing.T) {
	assert.Empty(t, cmp.Diff(want, trial.Drawn(t, run, "set-and-wall.png")))
}

const want = `Actors at 3 m, the wall at 6 m, a lens of 40 mm. What keeps 50 % of the contrast of both?

period   on the sensor  focus   stop    contrast left  verdict
2 px      53.3 lp/mm    4.00 m  f/11.3   43 %          7 points short, most is taken by diffraction
3 px      35.5 lp/mm    4.00 m  f/11.0   60 %          holds
4 px      26.6 lp/mm    4.00 m  f/10.6   71 %          holds
6 px      17.8 lp/mm    4.00 m  f/9.7    82 %          holds
8 px      13.3 lp/mm    4.00 m  f/9.0    87 %          holds
`
