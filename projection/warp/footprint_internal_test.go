package warp

import (
	"math"
	"testing"

	"example.com/platewright/internal/lanes"
	"github.com/stretchr/testify/assert"
)

// TestFootprintsAreBounded: however coarse the map and thin the source, the
// loops have room for a footprint, and a pixel does not take the time of a frame.
func TestFootprintsAreBounded(t *testing.T) {
	for _, side := range [][2]int{{1 << 20, 1}, {1, 1 << 20}, {1 << 20, 3}, {1 << 10, 1 << 10}} {
		for _, wrap := range []bool{false, true} {
			for _, kernel := range []radialKernel{softDisc, firmDisc, sharpDisc} {
				s := sampler[uint8]{ch: 1, wrap: wrap, radial: kernel}
				s.levels = []level[uint8]{{w: side[0], h: side[1], scaleX: 1, scaleY: 1}}
				for n := range topLevel {
					l := level[uint8]{w: nextSide(s.levels[n].w, wrap), h: nextSide(s.levels[n].h, false)}
					l.scaleX, l.scaleY = float64(l.w)/float64(side[0]), float64(l.h)/float64(side[1])
					s.levels = append(s.levels, l)
				}
				for major := 2.0; major < maxSide; major *= 1.37 {
					for minor := 0.0; minor <= major; minor = 3*minor + 0.1 {
						for angle := 0.0; angle < 3.1; angle += 0.05 {
							p, q := math.Sincos(angle)
							f := s.shape(&Jacobian{XX: major * q, XY: -minor * p, YX: major * p, YY: minor * q})
							_, run, _, _ := f.Row(0.5, 0.5, 0)
							if !(f.rows > 0 && f.rows <= lanes.MaxRows && run > 0 && run <= lanes.MaxRows) {
								t.Fatalf("%d × %d px, scales %v and %v at %v: %d rows of %d texels", side[0], side[1], major, minor, angle, f.rows, run)
							}
						}
					}
				}
			}
		}
	}
}

// TestLevelsBegin at stated scales: of the shorter axis exactly, of the longer
// about.
func TestLevelsBegin(t *testing.T) {
	for _, tc := range []struct {
		name        string
		kernel      radialKernel
		short, long float64
	}{{"soft", softDisc, 2.5, 35}, {"firm", firmDisc, 4, 25}, {"sharp", sharpDisc, 4, 18}, {"area", areaDisc, 7, 57}} {
		for _, axes := range []struct {
			major, minor float64
			want         int
		}{
			{tc.short, tc.short * 0.999, 0}, {tc.short, tc.short, 1},
			{2 * tc.short, 2 * tc.short * 0.999, 1}, {2 * tc.short, 2 * tc.short, 2},
			{tc.long - 1, 1, 0}, {tc.long + 1, 1, 1}, {2*tc.long + 2, 1, 2},
		} {
			assert.Equal(t, axes.want, tc.kernel.levelFor(axes.major, axes.minor), "%s, %+v", tc.name, axes)
		}
	}
}
