package warp

import "math"

// Around a pole of a panorama a pixel that is straight in the view is an arc, or a
// ring, in the raster. There the source is looked at as from above: in the plane of
// the azimuthal equidistant projection about the pole, with a row of the raster as
// its unit (Snyder 1987, 25), in which the map is smooth. The pixel is divided into
// parts, and each is read where it looks.

// polarReach is the distance from a pole, in target pixels, within which this is
// done: farther out an arc leaves its chord by less than 1/64 px in the mean.
const polarReach = 16

// polar is a pixel as seen from above.
type polar struct {
	x, y  float64 // rows
	south bool    // about the bottom of the raster
	j     Jacobian
	scale float64 // rows, along the longer axis
}

// polarOf is that of the target pixel (x, y), which looks at (sx, sy). near says
// whether it is near a pole.
func (m *Map) polarOf(x, y int, sx, sy float64) (p polar, near bool) {
	h := float64(m.srcHeight)
	distance := min(sy, h-sy)
	if !m.poles || !(distance < h/8) {
		return polar{}, false
	}
	p.south = sy > h/2
	fromAbove := func(sx, sy float64) (x, y float64) {
		if p.south {
			sy = h - sy
		}
		sin, cos := math.Sincos(2 * math.Pi * sx / float64(m.srcWidth))
		return sy * cos, sy * sin
	}
	p.x, p.y = fromAbove(sx, sy)
	p.j = joinSteps(1, func(dx, dy float64) (ax, ay float64) {
		i, j := x+int(dx), y+int(dy)
		if i < 0 || i >= m.width || j < 0 || j >= m.height { // a target knows nothing of these
			return math.NaN(), math.NaN()
		}
		tx, ty, ok := m.locate(float64(i)+0.5, float64(j)+0.5)
		if !ok {
			return math.NaN(), math.NaN()
		}
		ax, ay = fromAbove(tx, ty)
		return ax - p.x, ay - p.y
	})
	p.scale, _ = p.j.Scales()
	return p, distance < polarReach*p.scale
}

// position is that in the raster of a place beside the centre of the pixel.
func (m *Map) position(p *polar, dx, dy float64) (sx, sy float64) {
	x, y := p.x+p.j.XX*dx+p.j.XY*dy, p.y+p.j.YX*dx+p.j.YY*dy
	sx, sy = math.Atan2(y, x)/(2*math.Pi)*float64(m.srcWidth), math.Hypot(x, y)
	if p.south {
		sy = float64(m.srcHeight) - sy
	}
	return wrapTo(sx, float64(m.srcWidth)), sy
}

// aroundPole filters the one pixel of a batch near a pole. Where the map magnifies,
// AntiAlias is the filter alone.
func (l *layer[T]) aroundPole(p *polar, b batch) {
	out, one := b.pixel(0), l.plain.window
	b.cov[0] = 1
	switch {
	case l.means:
		one.separable = CatmullRom.separable()
	case p.scale <= plainScale:
		b.cov[0] = l.single(b.xs[0], b.ys[0], one, b.s, out)
		return
	}
	// Parts of two thirds of a row, over the reach of the filter.
	n := int(min(math.Ceil(3*l.family.reach*p.scale), mostProbes))
	var sum [4]float64
	var part [4]float32
	total := 0.0
	for i := range n * n {
		dx, dy := l.offset(i%n, n), l.offset(i/n, n)
		sx, sy := l.m.position(p, dx, dy)
		l.single(sx, sy, one, b.s, part[:len(out)])
		w := l.family.line(dx) * l.family.line(dy)
		total += w
		for k, v := range part[:len(out)] {
			sum[k] += float64(w * float64(v))
		}
	}
	for k := range out {
		out[k] = float32(sum[k] / total)
	}
}
