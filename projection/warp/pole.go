package warp

import (
	"math"

	"example.com/platewright/internal/lanes"
)

// Around a pole of a panorama a footprint that is straight in the view is an
// arc, or a ring, in the raster. There the source is read as from above: in the
// plane of the azimuthal equidistant projection about the pole, with a row of
// the raster as its unit (Snyder 1987, 25), in which the map is smooth.

// polarReach is the distance from a pole, in target pixels, within which this is
// done: farther out an arc leaves its chord by less than 1/64 px in the mean.
const polarReach = 16

// pole is a position in such a plane.
type pole struct {
	x, y  float64 // rows
	south bool    // about the bottom of the raster
}

// fromAbove is the plane's position of a raster position.
func (m *Map) fromAbove(sx, sy float64, south bool) (x, y float64) {
	if south {
		sy = float64(m.srcHeight) - sy
	}
	sin, cos := math.Sincos(2 * math.Pi * sx / float64(m.srcWidth))
	return sy * cos, sy * sin
}

// polar finds where the target pixel (x, y), which looks at (sx, sy), is from
// above, and the derivative there. near says whether it is near a pole.
func (m *Map) polar(x, y int, sx, sy float64) (p pole, j Jacobian, near bool) {
	h := float64(m.srcHeight)
	distance := min(sy, h-sy)
	if !(distance < h/8) {
		return pole{}, Jacobian{}, false
	}
	p.south = sy > h/2
	p.x, p.y = m.fromAbove(sx, sy, p.south)
	step := func(dx, dy float64) (ax, ay float64) {
		tx, ty, ok := m.locate(float64(x)+0.5+dx, float64(y)+0.5+dy)
		if !ok {
			return math.NaN(), math.NaN()
		}
		ax, ay = m.fromAbove(tx, ty, p.south)
		return ax - p.x, ay - p.y
	}
	j = joinSteps(1, step)
	major, _ := j.Scales()
	return p, j, distance < polarReach*major
}

// sixteen is cubic interpolation between texel (x, y) of a level and the next,
// anywhere in a source with poles.
func (s *sampler[T]) sixteen(l *level[T], x, y int, u, v float32, out []float32) {
	k := reconstructions[CatmullRom].kernel()
	wx, wy := k.Weights(u), k.Weights(v)
	a := around[T]{s: s, l: l}
	for j, w := range wy[:4] {
		for i, v := range wx[:4] {
			a.add(x-1+i, y-1+j, float64(v*w))
		}
	}
	a.mean(out)
}

// above filters around a position from above: over the points of a lattice in
// the plane, each interpolated between the texels around it.
func (s *sampler[T]) above(p pole, f *shape, out []float32) {
	l := &s.levels[f.level]
	cx, cy := p.x*l.scaleY, p.y*l.scaleY
	ix, iy := int(math.Floor(cx)), int(math.Floor(cy))
	fx, fy := float32(cx-float64(ix)), float32(cy-float64(iy))
	columns := float64(l.w) / (2 * math.Pi)
	var sum [4]float64
	total := 0.0
	for row := int(math.Ceil(float64(fy) - f.h)); float64(row) <= float64(fy)+f.h; row++ {
		first, count, d, top := f.Row(fx, fy, row)
		for t := range count {
			w := float64(f.Weight(d+float32(t), top))
			if w == 0 {
				continue
			}
			x, y := float64(ix+first+t), float64(iy+row)
			angle := math.Atan2(y, x)
			if angle < 0 {
				angle += 2 * math.Pi
			}
			distance := math.Hypot(x, y)
			if p.south {
				distance = float64(l.h) - distance
			}
			tx, u := lanes.Snap(angle*columns - 0.5)
			ty, v := lanes.Snap(distance - 0.5)
			var texel [4]float32
			if s.filter == Bilinear && !s.means {
				s.four(l, tx, ty, u, v, texel[:s.ch])
			} else {
				s.sixteen(l, tx, ty, u, v, texel[:s.ch])
			}
			for k, value := range texel {
				sum[k] += float64(w * float64(value))
			}
			total += w
		}
	}
	for k := range out {
		out[k] = float32(sum[k&3] / total)
	}
}
