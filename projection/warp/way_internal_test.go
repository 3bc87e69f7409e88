package warp

import (
	"math"
	"testing"

	"example.com/platewright/internal/lanes"
	"example.com/platewright/internal/near"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func families() map[string]*family {
	return map[string]*family{"soft": familyOf(Bilinear, AntiAlias), "firm": familyOf(CatmullRom, AntiAlias), "sharp": familyOf(Lanczos3, AntiAlias), "means": means()}
}

// TestWaysAreBounded: however coarse the map and thin the source, a pixel does not
// take the time of a frame, and what is read holds the pixel: the second moments of
// window and probes add up to those of the pixel where it is divided.
func TestWaysAreBounded(t *testing.T) {
	near.NumbersOnly(t)
	for name, f := range families() {
		s := sampler[uint8]{ch: 1, family: f, means: name == "means"}
		s.levels = make([]level[uint8], topLevel+1)
		for n := range s.levels {
			s.levels[n].scaleX, s.levels[n].scaleY = math.Ldexp(1, -n), math.Ldexp(1, -n)
		}
		for major := 1.0; major < maxSide; major *= 1.37 {
			for minor := 0.0; minor <= major; minor = 3*minor + 0.1 {
				for angle := 0.0; angle < 3.1; angle += 0.1 {
					p, q := math.Sincos(angle)
					w := s.way(&Jacobian{XX: major * q, XY: -minor * p, YX: major * p, YY: minor * q})
					if w.divided < 1 {
						require.True(t, w.along.first.Taps() <= lanes.MaxTaps && w.down.first.Taps() <= lanes.MaxTaps, "%s, %v and %v at %v: %+v", name, major, minor, angle, w)
					}
					if w.divided == 0 {
						continue
					}
					n := float64(w.n - 1)
					if !(w.n >= 1 && w.n <= mostProbes && math.Hypot(w.stepX, w.stepY)*n <= 2*f.reach*f.slack*major) {
						t.Fatalf("%s, scales %v and %v at %v: %+v", name, major, minor, angle, w)
					}
					if w.n > 1 && minor < major/2 {
						// Along the longer axis.
						along := math.Abs(w.stepX*q+w.stepY*p) / math.Hypot(w.stepX, w.stepY)
						assert.Greater(t, along, 0.9, "%s, scales %v and %v at %v", name, major, minor, angle)
					}
				}
			}
		}
	}
}

// TestLevelsBegin at stated scales of the shorter axis, and where probes would be too
// many.
func TestLevelsBegin(t *testing.T) {
	for name, short := range map[string]float64{"soft": 2.8, "firm": 2.8, "sharp": 2.8, "means": 8} {
		f := families()[name]
		for _, tc := range []struct {
			minor float64
			want  int
		}{{0.5, 0}, {short * 0.999, 0}, {short, 1}, {2 * short * 0.999, 1}, {2 * short, 2}, {1e9, topLevel}} {
			assert.Equal(t, tc.want, f.level(tc.minor), "%s, %v", name, tc.minor)
			assert.Equal(t, tc.want, f.top(tc.minor, tc.minor), "%s, %v", name, tc.minor)
		}
		long := (mostProbes/(2*f.reach) - 0.4) / 0.5
		assert.Equal(t, 0, f.top(0.99*long, 1), name)
		assert.Equal(t, 1, f.top(1.1*long, 1), name)
	}
}
