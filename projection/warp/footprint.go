package warp

import (
	"math"

	"example.com/platewright/internal/lanes"
)

// Where a pixel lies aslant in the source, or is much longer than wide, the filter
// is a radial kernel over the ellipse that it covers there (after Heckbert 1989, 3.3,
// and Greene and Heckbert 1986). With C = J·Jᵀ, its eigenvalues, the squared scales,
// raised to narrowest² at least,
//
//	weight(d) = kernel(1 − dᵀ·C⁻¹·d/R²)
const (
	// longest is the most that half an ellipse may measure, in texels.
	longest = lanes.MaxRows/2 - 1
	// topLevel bounds the pyramid: 2²⁴ px become one.
	topLevel = 24
	// shared is the number of neighbours that share a footprint, where the map
	// is smooth.
	shared = 8
)

// radialKernel is a polynomial in s = 1 − r²/R², for distances r up to the radius
// R in target pixels. The transforms of these polynomials are Bessel functions.
// They were fitted by least squares to pass what is below the target's Nyquist
// frequency and to stop what is above.
type radialKernel struct {
	radius float64
	shape  *lanes.RadialKernel
	// narrowest is the scale of the shorter axis, in texels, at which the kernel
	// still interpolates well.
	narrowest float64
	// finest is the scale of the shorter axis, in texels of a level, from which on
	// that level is read and not the one below.
	finest float64
	// variance is that along an axis, in target pixels squared. The blur of the
	// levels is subtracted from it, unless it is 0. texel is the variance of what a
	// texel of the source is a mean over, in texels squared.
	variance, texel float64
	// least is the scale, in source pixels, up to which nothing is subtracted.
	least float64
}

var (
	// What they pass and overshoot is as of soft, firm and sharp.
	softDisc  = radialKernel{radius: 1.79, shape: softShape, narrowest: 0.75, finest: 1.25, variance: 0.4212}
	firmDisc  = radialKernel{radius: 2.6, shape: firmShape, narrowest: 0.75, finest: 2}
	sharpDisc = radialKernel{radius: 3.57, shape: sharpShape, narrowest: 0.75, finest: 2}
	// areaDisc is near to a box of the size of a target pixel: its transform is within
	// 70 dB of the mean of the box's over all directions.
	areaDisc = radialKernel{radius: 1.1, shape: areaShape, narrowest: 1.25, finest: 3.5, variance: 1. / 12, texel: 1. / 12, least: 2}

	softShape  = lanes.NewRadialKernel(2.64880873, -6.43828178, 7.86433822, -3.07486517, 0)
	firmShape  = lanes.NewRadialKernel(-3.87826122, 18.4377027, -35.6668047, 32.5429785, -10.4356153)
	sharpShape = lanes.NewRadialKernel(2.42091496, -13.7252565, 29.7779434, -32.9273931, 15.4537912)
	areaShape  = lanes.NewRadialKernel(0.638692961, 5.55326096, -49.686222, 96.6634012, -52.1691331)
)

// radialOf is the kernel of a filter's footprints.
func radialOf(f Filter, m Minify) radialKernel {
	switch {
	case m == PixelMean:
		return areaDisc
	case f == Bilinear:
		return softDisc
	case f == Lanczos3:
		return sharpDisc
	}
	return firmDisc
}

// shape is the footprint of one or several neighbouring target pixels.
type shape struct {
	lanes.Ellipse
	level int
	h     float64 // half its height, texels
	reach float64 // half the width of what the loops take, texels
	rows  int
}

// levelFor is the level to read at the given scales.
func (b *radialKernel) levelFor(major, minor float64) int {
	level := 0
	if minor >= 2*b.finest {
		level = math.Ilogb(minor / b.finest)
	}
	// The loops take so many rows; what is longer is read more coarsely.
	for ; level < topLevel && b.radius*major >= math.Ldexp(longest, level); level++ {
	}
	return min(level, topLevel)
}

// shape makes the footprint for a Jacobian.
func (s *sampler[T]) shape(j *Jacobian) (f shape) {
	cxx, cxy, cyy := j.XX*j.XX+j.XY*j.XY, j.XX*j.YX+j.XY*j.YY, j.YX*j.YX+j.YY*j.YY
	mean, half := (cxx+cyy)/2, (cxx-cyy)/2
	root := math.Sqrt(half*half + cxy*cxy)
	major, minor := math.Sqrt(mean+root), math.Sqrt(max(mean-root, 0))
	b := &s.radial
	f.level = min(b.levelFor(major, minor), len(s.levels)-1)
	l := &s.levels[f.level]
	if least := b.narrowest / min(l.scaleX, l.scaleY); minor < least {
		// Stretch the shorter axis alone.
		wide := max(major, least)
		stretch := 0.0
		if root > 1e-9*mean {
			stretch = (wide*wide - least*least) / (2 * root)
		}
		low := mean - root
		cxx, cxy, cyy = least*least+stretch*(cxx-low), stretch*cxy, least*least+stretch*(cyy-low)
	} else if b.variance > 0 {
		floor := max(least, b.least)
		// Each level spreads by the variance of 1, 3, 3, 1 eighths, ¾ texel².
		spread := min(((math.Ldexp(1, 2*f.level)-1)/4+b.texel)/b.variance, max(minor*minor-floor*floor, 0))
		cxx, cyy = cxx-spread, cyy-spread
	}
	r2 := b.radius * b.radius
	cxx, cxy, cyy = r2*cxx*l.scaleX*l.scaleX, r2*cxy*l.scaleX*l.scaleY, r2*cyy*l.scaleY*l.scaleY
	// Where a side of the level is down to a texel, the ellipse may be longer that
	// way than the loops take: all of it but a middle part is beyond the source.
	if cxx > longest*longest {
		cxx, cxy = longest*longest, cxy*longest/math.Sqrt(cxx)
	}
	if cyy > longest*longest {
		cyy, cxy = longest*longest, cxy*longest/math.Sqrt(cyy)
	}
	k := cxy / cyy
	g, h := math.Sqrt(max(cxx-k*cxy, 0.25)), math.Sqrt(cyy)
	f.Ellipse = lanes.NewEllipse(float32(g), float32(h), float32(k), b.shape)
	// The loops take a row that may lie up to one below the ellipse, and round.
	f.h, f.reach = h, g+math.Abs(k)*(h+1)+1
	f.rows = int(2*h) + 1
	return f
}

// texel is where a source position lies among the centres of a level's texels.
func (l *level[T]) texel(x, y float64) (cx, cy float64) {
	wx, ux := lanes.Snap(x)
	wy, uy := lanes.Snap(y)
	return (float64(wx)+float64(ux))*l.scaleX - 0.5, (float64(wy)+float64(uy))*l.scaleY - 0.5
}

// footprints filters around the positions of a batch, which share a footprint.
func (s *sampler[T]) footprints(f *shape, b batch) {
	l := &s.levels[f.level]
	var at [shared]int
	var fx, fy [shared]float32
	var y [shared]int32
	n := len(b.xs)
	inside := true
	for k := range n {
		cx, cy := l.texel(b.xs[k], b.ys[k])
		// The loops read whole vectors, also of the row below the ellipse.
		if !(cx-f.reach >= 0 && cy-f.h >= 1 && cx+f.reach < float64(l.w-lanes.Width-1) && cy+f.h < float64(l.h-2)) {
			inside = false
			break
		}
		ix, iy := int(cx), int(cy)
		at[k] = iy*l.Stride + ix*s.ch
		fx[k], fy[k] = float32(cx-float64(ix)), float32(cy-float64(iy))
		y[k] = int32(math.Ceil(float64(fy[k]) - f.h))
	}
	if inside {
		lanes.Mean(b.vals, l.Raster, &f.Ellipse, at[:n], fx[:n], fy[:n], y[:n], f.rows)
		copy(b.cov, ones[:])
		return
	}
	for k, x := range b.xs {
		if x != x {
			s.empty(b.pixel(k))
			b.cov[k] = 0
		} else {
			b.cov[k] = s.footprint(x, b.ys[k], f, b.s, b.pixel(k))
		}
	}
}

// footprint filters around a position anywhere in the source, its edges
// included, and gives the share of the weight that fell on texels.
func (s *sampler[T]) footprint(x, y float64, f *shape, r *scratch, out []float32) float32 {
	l := &s.levels[f.level]
	cx, cy := l.texel(x, y)
	ix, iy := int(math.Floor(cx)), int(math.Floor(cy))
	fx, fy := float32(cx-float64(ix)), float32(cy-float64(iy))
	top := int(math.Ceil(float64(fy) - f.h))
	left, right := int(math.Floor(-f.reach)), int(math.Ceil(f.reach))+2+lanes.Width
	if s.whole(l, ix+left, iy+top, right-left, f.rows) {
		p := s.patch(l, ix+left, iy+top, right-left, f.rows, r)
		at := [...]int{-top*p.Stride - left*p.Channels}
		var spill [4 + 3]float32
		lanes.Mean(spill[:s.ch], p, &f.Ellipse, at[:], []float32{fx}, []float32{fy}, []int32{int32(top)}, f.rows)
		copy(out, spill[:])
		return 1
	}
	a := around[T]{s: s, l: l}
	for row := top; float64(row) <= float64(fy)+f.h; row++ {
		first, count, d, top := f.Row(fx, fy, row)
		for t := range count {
			a.add(ix+first+t, iy+row, float64(f.Weight(d+float32(t), top)))
		}
	}
	if !(a.weight > 0) {
		return s.single(x, y, window{separable: s.kernels}, r, out)
	}
	return a.mean(out)
}
