package warp

import "math"

// The filter is a tent. Its half-width is one source pixel where the map
// magnifies or keeps size, which is bilinear interpolation, and grows with the
// footprint of the target pixel where the map minifies: along each axis of the
// ellipse that a target pixel covers in the source, by widen of that scale.

const (
	// plainScale is how much the map may minify before the tent widens.
	plainScale = 1 + 1.0/16
	// fullScale is where the tent has its full breadth.
	fullScale = 1.5
	// breadth is the half-width of the tent for a scale of 1: chosen for
	// little aliasing rather than most sharpness.
	breadth = 1.25
	// finest is the half-width, in texels of a level, that the tent has at
	// least where it reads a level above the source.
	finest = 3
	// longest is the number of texels read across a footprint and down it
	// before every second, third ... is passed over.
	longest = 96
	// topLevel bounds the pyramid: 2²⁴ px become one.
	topLevel = 24
)

// widen is the half-width of the tent along an axis of the given scale, in
// source pixels: 1 up to plainScale, breadth times the scale from fullScale on,
// linear between.
func widen(scale float64) float64 {
	switch {
	case !(scale > plainScale):
		return 1
	case scale < fullScale:
		return 1 + (scale-plainScale)*(breadth*fullScale-1)/(fullScale-plainScale)
	}
	return breadth * scale
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
	levels      []level[T] // level 0 is the frame
	ch          int
	wrap, poles bool
}

// address finds texel (x, y) of a level: its place, and whether there is one.
// Where the source has poles there always is. Elsewhere the place is the nearest.
func (s *sampler[T]) address(l *level[T], x, y int) (offset int, inside bool) {
	if s.wrap {
		if s.poles && y < 0 {
			y, x = -1-y, x+l.w/2
		} else if s.poles && y >= l.h {
			y, x = 2*l.h-1-y, x+l.w/2
		}
		x %= l.w
		if x < 0 {
			x += l.w
		}
		cy := min(max(y, 0), l.h-1)
		return cy*l.stride + x*s.ch, s.poles || cy == y
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
	if ina && ind {
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

// tent is the filter of one target pixel. With J the Jacobian, C is J·Jᵀ with
// its eigenvalues, the squared scales, widened, and
//
//	w(dx, dy) = tent(dy/h) · tent((dx − k·dy)/g),   h² = Cyy,  k = Cxy/Cyy,  g²·h² = det C
//
// a tent over a sheared rectangle with the second moments of the ellipse: the
// triangular root of C, so that each row of texels is one run. It is bilinear
// where C is the unit matrix. The zero value is bilinear.
type tent struct {
	g, h, k    float64 // texels of the level
	perG, perH float64
	level      int
}

// tent makes the filter for a Jacobian. It reads the level at which the
// shorter axis is finest texels or more, with C made smaller by the spread that
// averaging to that level has already given.
func (s *sampler[T]) tent(j *Jacobian) (t tent) {
	cxx, cxy, cyy := j.XX*j.XX+j.XY*j.XY, j.XX*j.YX+j.XY*j.YY, j.YX*j.YX+j.YY*j.YY
	mean, half := (cxx+cyy)/2, (cxx-cyy)/2
	root := math.Sqrt(half*half + cxy*cxy)
	major, minor := mean+root, max(mean-root, 0) // squared
	if !(major > plainScale*plainScale) {
		return tent{}
	}
	if minor < fullScale*fullScale {
		g1, g2 := widen(math.Sqrt(major)), widen(math.Sqrt(minor))
		stretch := 0.0
		if root > 1e-9*mean {
			stretch = (g1*g1 - g2*g2) / (2 * root)
		}
		cxx, cxy, cyy = g2*g2+stretch*(cxx-minor), stretch*cxy, g2*g2+stretch*(cyy-minor)
	} else {
		cxx, cxy, cyy = breadth*breadth*cxx, breadth*breadth*cxy, breadth*breadth*cyy
		t.level = min(levelFor(breadth*math.Sqrt(minor)), len(s.levels)-1)
	}
	if t.level > 0 {
		// A tent of half-width g has the variance g²/6, b texels in a box
		// (b² − 1)/12.
		spread := (math.Ldexp(1, 2*t.level) - 1) / 2
		cxx, cyy = cxx-spread, cyy-spread
	}
	l := &s.levels[t.level]
	cxx, cxy, cyy = cxx*l.scaleX*l.scaleX, cxy*l.scaleX*l.scaleY, cyy*l.scaleY*l.scaleY
	t.k = cxy / cyy
	// Rounding must not make the tent narrower than the texels.
	t.g, t.h = math.Sqrt(max(cxx-t.k*cxy, 1)), math.Sqrt(cyy)
	t.perG, t.perH = 1/t.g, 1/t.h
	return t
}

// footprint filters around a source position, and gives the share of the
// weight that fell on texels.
func (s *sampler[T]) footprint(x, y float64, t *tent, out []float32) float32 {
	if t.perG == 0 {
		return s.point(x, y, out)
	}
	l := &s.levels[t.level]
	wx, fx := snap(x)
	wy, fy := snap(y)
	cx := (float64(wx)+float64(fx)*(1.0/snapOne))*l.scaleX - 0.5
	cy := (float64(wy)+float64(fy)*(1.0/snapOne))*l.scaleY - 0.5
	y0, y1 := int(math.Ceil(cy-t.h)), int(math.Floor(cy+t.h))
	stepX, stepY := 1+int(2*t.g)/longest, 1+(y1-y0)/longest
	reach := t.g + math.Abs(t.k)*t.h
	inside := stepX == 1 && cx-reach >= 0 && cx+reach <= float64(l.w-1) && y0 >= 0 && y1 < l.h

	var sum [4]float64
	var weight, missed float64
	for ty := y0; ty <= y1; ty += stepY {
		dy := float64(ty) - cy
		wy := 1 - math.Abs(dy)*t.perH
		if !(wy > 0) {
			continue
		}
		c := cx + t.k*dy
		x0, x1 := int(math.Ceil(c-t.g)), int(math.Floor(c+t.g))
		if inside {
			row := l.pix[ty*l.stride:]
			weight += wy * gather(row[x0*s.ch:(x1+1)*s.ch], s.ch, float64(x0)-c, t.perG, wy, &sum)
			continue
		}
		for tx := x0; tx <= x1; tx += stepX {
			w := wy * (1 - math.Abs(float64(tx)-c)*t.perG)
			o, in := s.address(l, tx, ty)
			if !in {
				missed += w
				continue
			}
			weight += w
			for i, v := range l.pix[o : o+s.ch] {
				sum[i&3] += w * float64(v)
			}
		}
	}
	if !(weight > 0) {
		return s.point(x, y, out)
	}
	inv := 1 / weight
	for i := range out {
		out[i] = float32(sum[i&3] * inv)
	}
	if inside {
		return 1
	}
	return float32(weight / (weight + missed))
}

// gather adds a row of texels under a tent to sum, and gives the weight of the
// row; d is the distance of the first from the peak.
func gather[T Sample](p []T, ch int, d, perX, wy float64, sum *[4]float64) (weight float64) {
	switch ch {
	case 3:
		var a, b, c float64
		for ; len(p) >= 3; p = p[3:] {
			w := 1 - math.Abs(d)*perX
			weight += w
			a += w * float64(p[0])
			b += w * float64(p[1])
			c += w * float64(p[2])
			d++
		}
		sum[0], sum[1], sum[2] = sum[0]+wy*a, sum[1]+wy*b, sum[2]+wy*c
	case 4:
		var a, b, c, e float64
		for ; len(p) >= 4; p = p[4:] {
			w := 1 - math.Abs(d)*perX
			weight += w
			a += w * float64(p[0])
			b += w * float64(p[1])
			c += w * float64(p[2])
			e += w * float64(p[3])
			d++
		}
		sum[0], sum[1], sum[2], sum[3] = sum[0]+wy*a, sum[1]+wy*b, sum[2]+wy*c, sum[3]+wy*e
	default:
		for ; len(p) >= ch; p = p[ch:] {
			w := 1 - math.Abs(d)*perX
			weight += w
			for i, v := range p[:ch] {
				sum[i&3] += wy * w * float64(v)
			}
			d++
		}
	}
	return weight
}

// bilinear samples the n positions in s into vals, pixel after pixel, and
// their coverage. NaN stands for no position: pixel and coverage become 0.
func (s *sampler[T]) bilinear(n int, r *scratch, vals, cov []float32) {
	l := &s.levels[0]
	place(r, n, l.w, l.h, l.stride, s.ch)
	switch s.ch {
	case 1:
		bilinear1(l.pix, l.stride, n, r, vals, cov)
	case 2:
		bilinear2(l.pix, l.stride, n, r, vals, cov)
	case 3:
		bilinear3(l.pix, l.stride, n, r, vals, cov)
	case 4:
		bilinear4(l.pix, l.stride, n, r, vals, cov)
	}
	for i, o := range r.offset[:n] {
		if o < 0 {
			cov[i] = s.edge(r.xs[i], r.ys[i], vals[i*s.ch:(i+1)*s.ch])
		}
	}
}

// place finds the four texels around each position: the place of the upper
// left one and the weights of the others; or −1 where they are not all inside,
// where there is no position, and on rows and columns of texel centres.
func place(r *scratch, n, w, h, stride, ch int) {
	xs, ys, offset := r.xs[:n], r.ys[:n], r.offset[:n]
	us, vs := r.u[:n], r.v[:n]
	for i, x := range xs {
		y := ys[i]
		offset[i] = -1
		if !(x > -1 && y > -1) { // NaN fails
			continue
		}
		ix, fx := snap(x - 0.5)
		iy, fy := snap(y - 0.5)
		if uint(ix) >= uint(w-1) || uint(iy) >= uint(h-1) || fx == 0 || fy == 0 {
			continue
		}
		offset[i] = iy*stride + ix*ch
		us[i], vs[i] = float32(fx)*(1.0/snapOne), float32(fy)*(1.0/snapOne)
	}
}

// edge does the pixels that the loops of bilinear leave.
func (s *sampler[T]) edge(x, y float64, out []float32) float32 {
	if x != x || y != y {
		clear(out)
		return 0
	}
	return s.point(x, y, out)
}
