package main

import (
	"testing"

	"example.com/platewright/examples/internal/trial"
	"example.com/platewright/internal/near"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
)

func TestRun(t *testing.T) {
	near.NumbersOnly(t)
	floor.Columns, floor.Rows, fine.Columns, fine.Rows, tries = 5, 4, 16, 9, 6
	assert.Empty(t, cmp.Diff(want, trial.Drawn(t, run, "floor.png", "frame.png")))
}

const want = `A wall of 2.60 mm, a lens of 35 mm at f/2.8, photosites of 6.08 µm in a mosaic, 7 m away
The grid is resolved up to 7.53 m, by red and blue up to 3.78 m.
Accepted is an alias of 1 %. On an even wall an eye sees one of 20 photosites from 0.14 %.

what is changed              worst alias in the frame
nothing, focus on the wall   74.20 % contrast  SHORT  aliased, every 14 photosites, at 2°
a camera without a mosaic    73.74 % contrast  SHORT  beat, every 9.09 photosites, at 2°
rolled by 20°                74.38 % contrast  SHORT  aliased, every 5.77 photosites, at 57°
low-pass, 0.5 photosites     58.01 % contrast  SHORT  aliased, every 14 photosites, at 2°
low-pass, 1 photosite        16.80 % contrast  SHORT  aliased, every 13.7 photosites, at 2°
f/11                         42.29 % contrast  SHORT  aliased, every 13.7 photosites, at 2°
focus 0.5 m before the wall  75.25 % contrast  SHORT  aliased, every 13.7 photosites, at 2°
focus on the actor            1.43 % contrast  SHORT  aliased, every 28.8 photosites, at 1°

focus before the wall         1 to 7 m, nearest to 7: safe at 2.51 m
distance, focus on the wall   1 to 10 m, nearest to 7: none is safe
distance, focus on the actor  4.4 to 10 m, nearest to 7: safe at 6.27 m
low-pass filter               0 to 4 photosites, nearest to 0: none is safe
roll                          0 to 45 °, nearest to 0: none is safe

While the camera travels by 0.5 mm, the grid moves by 0.43 photosites and the alias by 2.56, 0.18 of its periods.
`
