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
	columns = 12
	assert.Empty(t, cmp.Diff(want, trial.Drawn(t, run, "faces.png")))
}

const want = `A dusk on a wall of up to 900 cd/m², a ceiling of 300 cd/m², an actor 3.4 m from the wall

on the actor        light   of it by way of floor and walls
right side           162 lx    27 lx
left side            234 lx    30 lx
top                  546 lx     4 lx
from below            88 lx    86 lx
back                 116 lx    25 lx
face, to the wall    216 lx    29 lx

Most comes from 36° to the left and 75° up; vector to scalar is 2.0 of 4, key to fill 2.7 stops.
Its colour on the face is x 0.315, y 0.316; white is 0.313, 0.329.
For 400 lx on the face, 150 of them from lamps, all walls change by +0.2 stops.

black of the wall, 0.2 cd/m² by itself   worst black   contrast left
by walls, ceiling and floor alone         5.7 cd/m²   160 to 1
with 20 lx of lamps on it                 5.9 cd/m²   153 to 1
with 100 lx of lamps on it                7.0 cd/m²   130 to 1
with 500 lx of lamps on it               12.4 cd/m²   74 to 1
`
