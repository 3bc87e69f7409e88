package main

import (
	"testing"

	"example.com/platewright/examples/internal/trial"
	"example.com/platewright/internal/near"
	timing "example.com/platewright/sync"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestRun(t *testing.T) {
	near.NumbersOnly(t)
	rows, photons = 270, 20_000
	assert.Empty(t, cmp.Diff(want, trial.Drawn(t, run, "bands.png")))
}

// TestVerdictWithoutAnswer asks about a shutter near which none is clean.
func TestVerdictWithoutAnswer(t *testing.T) {
	angle, err := timing.ParseShutterAngle("5")
	require.NoError(t, err)
	got, err := verdict(angle, [3]float64{1, 1, 1})
	require.NoError(t, err)
	assert.Equal(t, "BANDS: a refresh is cut; within 4° all are too deep in brighter greys", got)
}

const want = `A wall of 160 refreshes a frame in 8 scan groups, 24 frames a second. Which shutters keep bands below 1 %?

                    depth of the bands, %
         refreshes  focus on the wall     on an actor
shutter  exposed     35 %   10 %    1 %   35 %   10 %  verdict
11.25°           5   1.12   4.00  33.33   1.12   4.00  BANDS: unlike pulses, 12 or 13 of 400 units of a frame
12°          5.333  10.20  11.11  33.33   3.71   5.14  BANDS: a refresh is cut; 13.50° has them in dark greys only
22.5°           10   0.56   0.00  20.00   0.56   0.00  dark greys only: 2 or 3 of 37 pulses of a frame
45°             20   0.28   0.00  11.11   0.28   0.00  dark greys only: 4 or 5 of 37 pulses of a frame
72°             32   0.17   0.00   6.67   0.17   0.00  dark greys only: 7 or 8 of 37 pulses of a frame
90°             40   0.14   0.00   5.26   0.14   0.00  dark greys only: 9 or 10 of 37 pulses of a frame
100°         44.44   1.25   1.35   4.76   0.45   0.52  BANDS: a refresh is cut; 99.02° has them in dark greys only
144°            64   0.09   0.00   3.45   0.09   0.00  dark greys only: 14 or 15 of 37 pulses of a frame
172.8°        76.8   0.73   0.78   2.86   0.26   0.38  dark greys only: 17 or 18 of 37 pulses of a frame
180°            80   0.07   0.00   2.70   0.07   0.00  dark greys only: 18 or 19 of 37 pulses of a frame
270°           120   0.05   0.00   1.82   0.05   0.00  dark greys only: 27 or 28 of 37 pulses of a frame
288°           128   0.04   0.00   1.69   0.04   0.00  dark greys only: 29 or 30 of 37 pulses of a frame
359°         159.6   0.32   0.38   1.37   0.10   0.15  dark greys only: 36 or 37 of 37 pulses of a frame
360°           160   0.00   0.00   0.00   0.00   0.00  clean

Greys whose pulses are all alike are safe at any shutter of 50 refreshes or more, 112.5°.
At 90° the two brighter greys stay below 1 % if exposure and refresh rate are right to 0.024 %; if to 0.24 %, they have bands of up to 1.5 %.

12°: predicted depth 0.102; measured in the rendered rows: depth 0.10 ± 0.04, 13.58 ± 0.03 rows apart, predicted 13.57
11.25°: predicted depth 0.011; measured in the rendered rows: none stand out of the noise, which hides up to 0.04

Caution: a picture without bands does not show how the wall flashes. Warn everybody on the set, and be able to stop at once.
`
