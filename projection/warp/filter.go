package warp

import "math"

// The filter is a tent. Its half-width is one source pixel where the map
// magnifies or keeps size, which is bilinear interpolation, and grows with the
// footprint of the target pixel where the map minifies: along each axis of the
// ellipse that a target pixel covers in the source, by widen of that scale.

const (
	// plainScale is how much the map may minify before the tent widens.
	plainScale = 1 + 1.0/16
	// fullScale is where the tent is as wide as the footprint.
	fullScale = 1.25
	// finest is the half-width, in texels of a level, that the tent has at
	// least where it reads a level above the source.
	finest = 2
	// longest is the number of texels read across a footprint and down it
	// before every second, third ... is passed over.
	longest = 96
	// topLevel bounds the pyramid: 2²⁴ px become one.
	topLevel = 24
)

// widen is the half-width of the tent along an axis of the given scale:
// 1 to plainScale, the scale itself from fullScale on, linear between.
func widen(scale float64) float64 {
	switch {
	case !(scale > plainScale):
		return 1
	case scale < fullScale:
		return 1 + (scale-plainScale)*(fullScale-1)/(fullScale-plainScale)
	}
	return scale
}

// levelFor is the highest level at which a tent of the given half-width (in
// source pixels) is still finest texels wide or wider.
func levelFor(halfWidth float64) int {
	if !(halfWidth >= 2*finest) {
		return 0
	}
	return min(math.Ilogb(halfWidth/finest), topLevel)
}

// Positions are rounded to 2⁻²⁰ px: 2⁻²¹ px of error, and in exchange the
// rounding errors of a map are gone, so that a map onto itself copies bits.
// Adding snapper leaves the position in the low bits of a float64.
const (
	snapBits = 20
	snapOne  = 1 << snapBits
	snapper  = 3 << (51 - snapBits)
)

// snap splits a position, |x| < 2³⁰, into whole pixels and 2⁻²⁰ths.
func snap(x float64) (whole, fraction int) {
	bits := int64(math.Float64bits(x+snapper)&(1<<52-1)) - 1<<51
	return int(bits >> snapBits), int(bits & (snapOne - 1))
}

// sampler reads one source.
type sampler[T Sample] struct {
	levels []level[T] // level 0 is the frame
	ch     int
	wrap   bool
}

// address finds texel (x, y) of a level: its place, and whether there is one.
// Where the source wraps there always is. Elsewhere the place is the nearest.
func (s *sampler[T]) address(l *level[T], x, y int) (offset int, inside bool) {
	if s.wrap {
		if y < 0 {
			y, x = -1-y, x+l.w/2
		} else if y >= l.h {
			y, x = 2*l.h-1-y, x+l.w/2
		}
		x %= l.w
		if x < 0 {
			x += l.w
		}
		return min(max(y, 0), l.h-1)*l.stride + x*s.ch, true
	}
	cx, cy := min(max(x, 0), l.w-1), min(max(y, 0), l.h-1)
	return cy*l.stride + cx*s.ch, cx == x && cy == y
}

// lerp is a at t = 0 and, where a = b, everywhere. The conversion keeps
// compilers from fusing, so that every path through this package has one result.
func lerp(a, b, t float32) float32 { return a + float32(t*(b-a)) }

// point is bilinear interpolation anywhere in the source, its edges included,
// and gives the share of the weight that fell on texels. It must compute as
// the loops of bilinear do.
func (s *sampler[T]) point(x, y float64, out []float32) float32 {
	l := &s.levels[0]
	ix, fx := snap(x - 0.5)
	iy, fy := snap(y - 0.5)
	// A texel without weight is not read: it may not exist, or be NaN.
	jx, jy := ix+1, iy+1
	if fx == 0 {
		jx = ix
	}
	if fy == 0 {
		jy = iy
	}
	a, ina := s.address(l, ix, iy)
	b, inb := s.address(l, jx, iy)
	c, inc := s.address(l, ix, jy)
	d, ind := s.address(l, jx, jy)
	u, v := float32(fx)*(1.0/snapOne), float32(fy)*(1.0/snapOne)
	if fx|fy == 0 {
		for k := range out {
			out[k] = float32(l.pix[a+k])
		}
	} else {
		for k := range out {
			top := lerp(float32(l.pix[a+k]), float32(l.pix[b+k]), u)
			bottom := lerp(float32(l.pix[c+k]), float32(l.pix[d+k]), u)
			out[k] = lerp(top, bottom, v)
		}
	}
	if s.wrap || ina && ind {
		return 1
	}
	cover := [2][2]float32{{unit(ina), unit(inb)}, {unit(inc), unit(ind)}}
	return lerp(lerp(cover[0][0], cover[0][1], u), lerp(cover[1][0], cover[1][1], u), v)
}

func unit(in bool) float32 {
	if in {
		return 1
	}
	return 0
}

// footprint is the tent over what a target pixel covers. With J the Jacobian,
// the tent is wide along the axes of J·Jᵀ:
//
//	w(d) = tent(a)·tent(b),   (a, b) = M⁻¹·d,   M = widened (J·Jᵀ)^½
//
// so that it is upright, and bilinear, where the map does not minify. It reads
// the level at which the shorter axis is finest texels or more, and makes M
// narrower by the spread that averaging to that level has already given.
func (s *sampler[T]) footprint(x, y float64, j *Jacobian, out []float32) float32 {
	major, minor := j.Scales()
	if !(major > plainScale) {
		return s.point(x, y, out)
	}
	g1, g2 := widen(major), widen(minor)
	n := min(levelFor(g2), len(s.levels)-1)
	l := &s.levels[n]
	if n > 0 {
		// A tent of half-width g has the variance g²/6, a box of b texels
		// (b² − 1)/12.
		spread := (math.Ldexp(1, 2*n) - 1) / 2
		g1, g2 = math.Sqrt(g1*g1-spread), math.Sqrt(g2*g2-spread)
	}
	// P projects on the major axis: M = g2 + (g1 − g2)·P.
	xx, xy, yy := j.XX*j.XX+j.XY*j.XY, j.XX*j.YX+j.XY*j.YY, j.YX*j.YX+j.YY*j.YY
	var pxx, pxy, pyy float64
	if gap := major*major - minor*minor; gap > 1e-9*major*major {
		pxx, pxy, pyy = (xx-minor*minor)/gap, xy/gap, (yy-minor*minor)/gap
	}
	inv := 1/g1 - 1/g2
	extentX := (g2 + (g1-g2)*pxx + math.Abs((g1-g2)*pxy)) * l.scaleX
	extentY := (g2 + (g1-g2)*pyy + math.Abs((g1-g2)*pxy)) * l.scaleY
	// M⁻¹ for a distance in texels of the level.
	qxx, qxy := (1/g2+inv*pxx)/l.scaleX, inv*pxy/l.scaleY
	qyx, qyy := inv*pxy/l.scaleX, (1/g2+inv*pyy)/l.scaleY

	wx, fx := snap(x)
	wy, fy := snap(y)
	cx := (float64(wx) + float64(fx)/snapOne) * l.scaleX
	cy := (float64(wy) + float64(fy)/snapOne) * l.scaleY
	x0, x1 := int(math.Ceil(cx-extentX-0.5)), int(math.Floor(cx+extentX-0.5))
	y0, y1 := int(math.Ceil(cy-extentY-0.5)), int(math.Floor(cy+extentY-0.5))
	stepX, stepY := 1+(x1-x0)/longest, 1+(y1-y0)/longest
	// The texel under the centre is among those read.
	x0 += (int(math.Floor(cx)) - x0) % stepX
	y0 += (int(math.Floor(cy)) - y0) % stepY

	interior := x0 >= 0 && x1 < l.w && y0 >= 0 && y1 < l.h
	var acc [4]float64
	var inside, total float64
	for ty := y0; ty <= y1; ty += stepY {
		dy := float64(ty) + 0.5 - cy
		a0, b0 := qxy*dy, qyy*dy
		// |a| < 1 and |b| < 1 bound the row.
		lo, hi := (-1-a0)/qxx, (1-a0)/qxx
		if qyx != 0 {
			p, q := (-1-b0)/qyx, (1-b0)/qyx
			lo, hi = max(lo, min(p, q)), min(hi, max(p, q))
		} else if !(math.Abs(b0) < 1) {
			continue
		}
		if !(lo < hi) {
			continue
		}
		first := x0
		if skip := int(math.Ceil(max(lo, -extentX)+cx-0.5)) - x0; skip > 0 {
			first += (skip + stepX - 1) / stepX * stepX
		}
		last := min(int(math.Floor(min(hi, extentX)+cx-0.5)), x1)
		row := ty * l.stride
		for tx := first; tx <= last; tx += stepX {
			dx := float64(tx) + 0.5 - cx
			a, b := math.Abs(a0+qxx*dx), math.Abs(b0+qyx*dx)
			w := (1 - a) * (1 - b)
			if a >= 1 || b >= 1 {
				continue
			}
			total += w
			o := row + tx*s.ch
			if !interior {
				var in bool
				if o, in = s.address(l, tx, ty); !in {
					continue
				}
			}
			inside += w
			switch p := l.pix[o : o+s.ch]; len(p) {
			case 3:
				acc[0] += w * float64(p[0])
				acc[1] += w * float64(p[1])
				acc[2] += w * float64(p[2])
			default:
				for k, v := range p {
					acc[k&3] += w * float64(v)
				}
			}
		}
	}
	if !(inside > 0) {
		return s.point(x, y, out)
	}
	for k := range out {
		out[k] = float32(acc[k&3] / inside)
	}
	return float32(inside / total)
}

// bilinear samples a run of positions into vals, pixel after pixel. NaN stands
// for no position: the pixel and its coverage become 0.
func (s *sampler[T]) bilinear(xs, ys []float64, vals, cov []float32) {
	l := &s.levels[0]
	switch s.ch {
	case 1:
		bilinear1(s, l.pix, xs, ys, vals, cov)
	case 2:
		bilinear2(s, l.pix, xs, ys, vals, cov)
	case 3:
		bilinear3(s, l.pix, xs, ys, vals, cov)
	case 4:
		bilinear4(s, l.pix, xs, ys, vals, cov)
	}
}

// edge does the pixels that the loops of bilinear leave: those without a
// position, those whose texels are not all inside, and those on a row or a
// column of texel centres.
func (s *sampler[T]) edge(x, y float64, out []float32) float32 {
	if x != x || y != y {
		clear(out)
		return 0
	}
	return s.point(x, y, out)
}

// cell finds the four texels around a position: the place of the upper left
// one and the weights, or ok = false where edge must do.
func (s *sampler[T]) cell(x, y float64) (offset int, u, v float32, ok bool) {
	l := &s.levels[0]
	// Far from what snap can take, and NaN.
	if !(x > -1 && y > -1) {
		return 0, 0, 0, false
	}
	ix, fx := snap(x - 0.5)
	iy, fy := snap(y - 0.5)
	if uint(ix) >= uint(l.w-1) || uint(iy) >= uint(l.h-1) || fx == 0 || fy == 0 {
		return 0, 0, 0, false
	}
	return iy*l.stride + ix*s.ch, float32(fx) * (1.0 / snapOne), float32(fy) * (1.0 / snapOne), true
}
