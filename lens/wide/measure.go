package wide

import (
	"math"
	"math/rand/v2"
	"slices"

	"example.com/platewright/internal/estimate"
	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/unit"
)

// Sample is a type of samples.
type Sample = plane.Sample

// Plane is one channel of a picture: Width × Height samples in Pix. Row y begins at
// y · Stride, and samples of a row are Step apart. Zero means Width · Step for Stride
// and 1 for Step. Samples are not copied.
type Plane[T Sample] = plane.Plane[T]

// Estimate is a measured value. Uncertainty is its standard uncertainty: one standard
// deviation.
type Estimate = estimate.Estimate

// ImageCircle is what MeasureImageCircle finds, in pixels.
type ImageCircle struct {
	X, Y   Estimate // of the centre, in the raster
	Radius Estimate
	// OffsetX and OffsetY are from the centre of the frame to that of the circle, to
	// the right and down.
	OffsetX, OffsetY float64
	// Residual is the root mean square distance of the rim from the circle.
	Residual float64
	// Visible is the fraction of the circumference on which the rim was found.
	Visible float64
}

// circleLit are from where on light counts as lit, of the way from dark to bright: low,
// since the rim is darker than the middle, and higher if noise or flare outside is as high.
var circleLit = [...]float64{0.1, 0.3}

const (
	circleSide    = 64   // px, at least
	circleVisible = 0.12 // of the circumference, at least
)

// MeasureImageCircle finds the image circle of a lens in a bright frame, as of an overcast
// sky. The frame contains parts of the rim, with dark around it, and its centre lies in the circle.
// The circle may be cut off on any side. Square pixels are taken for granted.
//
// Rays from the centre of the frame look for the outermost light, and then for the place
// where the light is half way between that inside the rim and that outside of it. A circle
// that most of these places agree on is fitted to those by least squares. Dark parts of
// the scene at the rim, and blocked ones, are left out that way. Falloff and flare are slow beside the
// rim and do not move it. Where the rim itself fades over many pixels, the circle
// is that of half the light. Linear light is wanted; a picture with a curve, or clipped
// inside the rim, gives a slightly larger circle. The uncertainty comes from the residuals, and from
// how far the circle moves if half as much light again is looked at beside the rim.
//
// A plane of fewer than 64 columns or rows is an error, and so is a sample near a ray that
// is not finite. A rim that is seen on less than 12 % of its circumference, and one that is
// no circle, are errors too.
//
// Source: geometric least squares with Tukey's weights, after a consensus of random triples
// (M. A. Fischler and R. C. Bolles, Comm. ACM 24 (1981) 381, from memory).
func MeasureImageCircle[T Sample](frame Plane[T]) (ImageCircle, error) {
	c := valid.New("wide", ErrInvalid)
	frame.Check(c, "frame", circleSide)
	if !c.OK() {
		return ImageCircle{}, c.Err()
	}
	dark, bright, ok := ends(c, frame)
	if !ok {
		return ImageCircle{}, c.Err()
	}
	half := max(4, min(frame.Width, frame.Height)*3/1000) // px on both sides of the rim
	var circle ring
	var rim []place
	var inliers []int
	var lit, visible float64
	seen := false
	for _, part := range circleLit {
		lit = dark + part*(bright-dark)
		var rays int
		if rim, rays, ok = findRim(c, frame, lit, half); !ok {
			return ImageCircle{}, c.Err()
		}
		circle, inliers = settle(rim, consensus(rim, frame.Width, frame.Height))
		visible = float64(len(inliers)) / float64(rays)
		// A rim that is seen well is seen at most of what rays found.
		if seen = visible >= circleVisible && 4*len(inliers) >= len(rim); seen {
			break
		}
	}
	if !seen {
		c.Fault("rim of the image circle", quantity.Number(100*visible, "%")+" seen",
			"must be seen on at least %.0f %% of the circumference, between light and dark: is the frame bright, and are its corners dark?", 100*circleVisible)
		return ImageCircle{}, c.Err()
	}
	result := circle.result(rim, inliers)
	// Light that bends beside the rim moves it, and more so if more of that light is
	// looked at: the residuals do not show all of that.
	wider, _, _ := findRim(c, frame, lit, half*3/2)
	second, _ := settle(wider, circle)
	result.X.Uncertainty = math.Hypot(result.X.Uncertainty, second.x-circle.x)
	result.Y.Uncertainty = math.Hypot(result.Y.Uncertainty, second.y-circle.y)
	result.Radius.Uncertainty = math.Hypot(result.Radius.Uncertainty, second.r-circle.r)
	result.Visible = visible
	result.OffsetX, result.OffsetY = circle.x-float64(frame.Width)/2, circle.y-float64(frame.Height)/2
	if limit := 1 + 0.002*circle.r; !(result.Residual <= limit) || !(result.Radius.Uncertainty <= 0.01*circle.r) {
		c.Fault("rim of the image circle", quantity.Number(result.Residual, "px")+" off a circle, whose radius is uncertain by "+quantity.Number(result.Radius.Uncertainty, "px"),
			"must be within %s, and certain to 1 %%", quantity.Number(limit, "px"))
		return ImageCircle{}, c.Err()
	}
	return result, nil
}

// ends are the light of the darkest parts of a frame, and that which a tenth of it
// exceeds.
func ends[T Sample](c *valid.Checker, frame Plane[T]) (dark, bright float64, ok bool) {
	const steps = 128
	means := make([]float64, 0, steps*steps)
	for j := range steps {
		for i := range steps {
			x, y := i*(frame.Width-1)/steps, j*(frame.Height-1)/steps
			var mean float64
			for dy := range 2 {
				row, step := frame.Row(y + dy)
				for dx := range 2 {
					mean += float64(row[(x+dx)*step]) / 4
				}
			}
			if !(math.Abs(mean) <= math.MaxFloat32) {
				notFinite(c, mean, x, y)
				return 0, 0, false
			}
			means = append(means, mean)
		}
	}
	slices.Sort(means)
	dark, bright = means[len(means)/200], means[len(means)*9/10]
	if !(bright > dark) {
		c.Fault("frame", quantity.Number(bright, "")+" all over", "must have light and dark")
		return 0, 0, false
	}
	return dark, bright, true
}

type place struct{ x, y float64 }

// findRim looks along rays from the centre of the frame for the rim of the light, and at
// the light up to three times half on both sides of it. rays is how many there were.
func findRim[T Sample](c *valid.Checker, frame Plane[T], lit float64, half int) (rim []place, rays int, ok bool) {
	cx, cy := float64(frame.Width)/2, float64(frame.Height)/2
	rays = max(90, min(1440, int(2*math.Pi*math.Min(cx, cy)/3))) // 3 px apart: with other pixels
	for k := range rays {
		sin, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.5) / float64(rays))
		// The ray's last pixel.
		length := math.Min((cx-1)/math.Max(math.Abs(cos), 1e-9), (cy-1)/math.Max(math.Abs(sin), 1e-9))
		light := make([]float64, int(length)+1)
		for i := range light {
			x, y := cx+float64(i)*cos, cy+float64(i)*sin
			light[i] = sampled(frame, x, y)
			if !(math.Abs(light[i]) <= math.MaxFloat32) {
				notFinite(c, light[i], int(x), int(y))
				return nil, 0, false
			}
		}
		mean := func(from, to int) float64 { // of light[from:to]
			var sum float64
			for _, v := range light[from:to] {
				sum += v
			}
			return sum / float64(to-from)
		}
		at := len(light) - half
		for at >= 0 && !(mean(at, at+half) > lit) {
			at--
		}
		at += half / 2
		if at+2*half+1 >= len(light) || at < 4*half {
			continue // lit up to the side, or dark
		}
		// The steepest fall close by.
		best, steepest := math.Inf(-1), at
		for i := at - half; i <= at+half; i++ {
			if d := mean(i-half, i) - mean(i, i+half); d > best {
				best, steepest = d, i
			}
		}
		if steepest < 3*half || steepest+3*half+1 >= len(light) {
			continue
		}
		// Half way between what the light would be here without the rim, and without the lens.
		inside, outside := line(light, steepest-3*half, steepest-half), line(light, steepest+half, steepest+3*half)
		over := func(i int) float64 { return light[i] - (inside(i)+outside(i))/2 }
		var sum float64 // of all places where the light crosses that
		n := 0
		for i := steepest - half; i < steepest+half; i++ {
			if a, b := over(i), over(i+1); (a > 0) != (b > 0) {
				sum += float64(i) + a/(a-b)
				n++
			}
		}
		if n%2 == 1 {
			r := sum / float64(n)
			rim = append(rim, place{cx + r*cos, cy + r*sin})
		}
	}
	return rim, rays, true
}

func notFinite(c *valid.Checker, sample float64, x, y int) {
	c.Fault("sample", quantity.Number(sample, ""), "must be a finite number (near column %d, row %d)", x, y)
}

// line is the straight line that fits light[from:to] best.
func line(light []float64, from, to int) func(i int) float64 {
	n := float64(to - from)
	middle := float64(from+to-1) / 2
	var mean, cross, squares float64
	for i := from; i < to; i++ {
		d := float64(i) - middle
		mean += light[i] / n
		cross += d * light[i]
		squares += d * d
	}
	return func(i int) float64 { return mean + (float64(i)-middle)*cross/squares }
}

// sampled is the light at a place, linear between the centres of the pixels around it.
func sampled[T Sample](frame Plane[T], x, y float64) float64 {
	x, y = x-0.5, y-0.5
	i, j := max(0, min(int(x), frame.Width-2)), max(0, min(int(y), frame.Height-2))
	u, v := x-float64(i), y-float64(j)
	a, step := frame.Row(j)
	b, _ := frame.Row(j + 1)
	upper := float64(a[i*step]) + u*(float64(a[(i+1)*step])-float64(a[i*step]))
	lower := float64(b[i*step]) + u*(float64(b[(i+1)*step])-float64(b[i*step]))
	return upper + v*(lower-upper)
}

type ring struct{ x, y, r float64 }

// beyond is how far outside the circle a place is.
func (o ring) beyond(p place) float64 { return math.Hypot(p.x-o.x, p.y-o.y) - o.r }

// near are the places within a distance of a circle.
func near(rim []place, o ring, distance float64) (inliers []int) {
	for i, p := range rim {
		if math.Abs(o.beyond(p)) <= distance {
			inliers = append(inliers, i)
		}
	}
	return inliers
}

// consensus is the circle through three places that most others are near.
func consensus(rim []place, width, height int) (best ring) {
	if len(rim) < 8 {
		return ring{}
	}
	rng := rand.New(rand.NewPCG(1, 1)) // the same frame gives the same circle
	most := -1
	for range 600 {
		a, b, c := rim[rng.IntN(len(rim))], rim[rng.IntN(len(rim))], rim[rng.IntN(len(rim))]
		bx, by, cx, cy := b.x-a.x, b.y-a.y, c.x-a.x, c.y-a.y
		cross := 2 * (bx*cy - by*cx)
		if math.Abs(cross) < 0.01*float64(width)*float64(height) {
			continue // they are nearly on a line
		}
		bb, cc := bx*bx+by*by, cx*cx+cy*cy
		o := ring{x: (cy*bb - by*cc) / cross, y: (bx*cc - cx*bb) / cross}
		o.r = math.Hypot(o.x, o.y)
		o.x, o.y = o.x+a.x, o.y+a.y
		if n := len(near(rim, o, max(2, 0.004*o.r))); n > most {
			best, most = o, n
		}
	}
	return best
}

// settle fits a circle to the places near it until it stays.
func settle(rim []place, o ring) (circle ring, inliers []int) {
	inliers = near(rim, o, max(2, 0.004*o.r))
	for range 4 {
		o, inliers = o.improve(rim, inliers)
	}
	return o, inliers
}

// improve fits the circle to the places near it, each with Tukey's weight. It returns
// those that keep one.
func (o ring) improve(rim []place, inliers []int) (ring, []int) {
	if len(inliers) < 8 {
		return o, nil
	}
	off := make([]float64, len(inliers))
	for k, i := range inliers {
		off[k] = math.Abs(o.beyond(rim[i]))
	}
	reach := 4.685 * estimate.MedianToDeviation * math.Max(estimate.Median(off), 0.02)
	normal, right := mat.NewSymDense(3, nil), mat.NewVecDense(3, nil)
	inliers = near(rim, o, reach)
	for _, i := range inliers {
		g := o.gradient(rim[i])
		d := o.beyond(rim[i])
		w := 1 - d/reach*d/reach
		accumulate(normal, right, g, d, w*w)
	}
	var move mat.VecDense
	var chol mat.Cholesky
	if len(inliers) < 8 || !chol.Factorize(normal) || chol.SolveVecTo(&move, right) != nil {
		return o, nil
	}
	return ring{o.x + move.AtVec(0), o.y + move.AtVec(1), o.r + move.AtVec(2)}, inliers
}

// gradient is what beyond loses where x, y and r grow.
func (o ring) gradient(p place) [3]float64 {
	d := math.Max(math.Hypot(p.x-o.x, p.y-o.y), 1e-9)
	return [3]float64{(p.x - o.x) / d, (p.y - o.y) / d, 1}
}

func accumulate(normal *mat.SymDense, right *mat.VecDense, g [3]float64, d, weight float64) {
	for i := range g {
		for j := i; j < len(g); j++ {
			normal.SetSym(i, j, normal.At(i, j)+weight*g[i]*g[j])
		}
		right.SetVec(i, right.AtVec(i)+weight*g[i]*d)
	}
}

// result is the circle with its uncertainties.
func (o ring) result(rim []place, inliers []int) ImageCircle {
	normal, right := mat.NewSymDense(3, nil), mat.NewVecDense(3, nil)
	off := make([]float64, len(inliers))
	var squares float64
	for k, i := range inliers {
		off[k] = o.beyond(rim[i])
		squares += off[k] * off[k]
		accumulate(normal, right, o.gradient(rim[i]), off[k], 1)
	}
	// Neighbours that are off alike count as fewer.
	alike := 1.0
	for lag := 1; lag < min(12, len(off)/3); lag++ {
		var product float64
		for k := lag; k < len(off); k++ {
			product += off[k] * off[k-lag]
		}
		if product <= 0 {
			break
		}
		alike += 2 * product / squares
	}
	var covariance mat.SymDense
	var chol mat.Cholesky
	if !chol.Factorize(normal) || chol.InverseTo(&covariance) != nil {
		return ImageCircle{Residual: math.Inf(1)}
	}
	// Tukey's weights use 95 % of what normal noise offers.
	variance := alike * squares / float64(len(off)-3) / 0.95
	sigma := func(i int) float64 { return math.Sqrt(variance * covariance.At(i, i)) }
	return ImageCircle{
		X: Estimate{Value: o.x, Uncertainty: sigma(0)}, Y: Estimate{Value: o.y, Uncertainty: sigma(1)}, Radius: Estimate{Value: o.r, Uncertainty: sigma(2)},
		Residual: math.Sqrt(squares / float64(len(off))),
	}
}

// FalloffSpec says how to measure the falloff of a lens in a frame of even light.
type FalloffSpec struct {
	// X and Y are where the axis meets the raster, in pixels, as MeasureImageCircle
	// finds it.
	X, Y float64
	// Pitch is the distance from pixel to pixel, from 100 nm to 1 mm.
	Pitch unit.Length
	// Dark is the sample that stands for no light.
	Dark float64
	// White is the sample from which on light is clipped. Zero means the largest whole
	// number, and 1 for float32.
	White float64
	// Linear gives the light that a sample stands for, in any unit, and is 0 or more
	// for Dark. Nil means that samples are linear. It is left out of JSON.
	Linear func(sample float64) (light float64) `json:"-"`
	// Points are those of a Spec, at least two. Only their field angles and image heights
	// count here.
	Points []Point
}

// Falloff is what MeasureFalloff finds.
type Falloff struct {
	// Points are those of the FalloffSpec with the Illumination that was found, for a
	// Spec. Pupil and PupilAspect stay.
	Points []Point
	// Uncertainties are the standard uncertainties of their Illumination. That on the
	// axis is 1 by definition.
	Uncertainties []float64
	// GradientX and GradientY are by how much of itself the light was found to grow per
	// pixel to the right and down, which the Illumination is free of.
	GradientX, GradientY float64
}

const (
	falloffSectors = 24
	falloffFewest  = 6   // sectors that a ring needs, and pixels that a sector needs
	falloffAxis    = 0.1 // of the last height: how wide the disc around the axis is
)

// MeasureFalloff measures the RelativeIllumination of a lens in a frame of even light, as
// of a lit dome or a white sheet close in front of it, turned a little from frame to frame.
//
// The light at each image height is that of a ring around the axis, up to half the way to
// its neighbours, but at most 2 % of the last height wide. Along its width the light is
// taken to be linear in the square of the height. The last point sees only what is inside of it. A
// steady gradient across the frame is found and taken out. The uncertainty comes from
// how much 24 sectors of the rings differ, so it contains noise and uneven light, but not
// light that is uneven all around alike.
//
// A field outside its range is an error. Field angles and heights must start at 0 and grow.
// At least 6 sectors of each ring must lie in the frame, and no sample of a ring may be
// clipped or not finite. An illumination that is not above 0 to 10 is an error, too.
//
// Source: definition; mean over rings.
func MeasureFalloff[T Sample](frame Plane[T], spec FalloffSpec) (Falloff, error) {
	c := valid.New("wide", ErrInvalid)
	frame.Check(c, "frame", circleSide)
	c.Number("column of the axis", spec.X, "px", valid.Closed(0, float64(max(1, frame.Width))))
	c.Number("row of the axis", spec.Y, "px", valid.Closed(0, float64(max(1, frame.Height))))
	c.Length("pitch", spec.Pitch, valid.Pitches)
	if spec.White == 0 {
		spec.White = plane.FullScale[T]()
	}
	samples := valid.Closed(-math.MaxFloat32, math.MaxFloat32)
	c.Number("dark", spec.Dark, "", samples)
	c.Number("white", spec.White, "", samples)
	c.Int("number of points", len(spec.Points), "", 2, 1<<12)
	if !c.OK() {
		return Falloff{}, c.Err()
	}
	heights := make([]float64, len(spec.Points)) // px
	for i, p := range spec.Points {
		if i == 0 && p.FieldAngle != 0 || i > 0 && !(p.FieldAngle-spec.Points[i-1].FieldAngle >= 1e-6 && p.FieldAngle <= most) {
			c.Fault("field angle of a point", quantity.Angle(p.FieldAngle), "must be 0 on the axis, and then grow to at most 175° (point %d)", i)
			return Falloff{}, c.Err()
		}
		heights[i] = float64(p.ImageHeight / spec.Pitch)
		if i == 0 && p.ImageHeight != 0 || i > 0 && !(heights[i]-heights[i-1] >= 2 && heights[i] <= 1e6) {
			return Falloff{}, c.Refuse("image height of a point", quantity.Length(p.ImageHeight), "must be 0 on the axis, and then grow by at least 2 px a point (point %d)", i)
		}
	}
	rings, ok := gather(c, frame, spec, heights)
	if !ok {
		return Falloff{}, c.Err()
	}
	return rings.solve(c, spec)
}

// sector is what a part of a ring shows: sums over its pixels of u, the square of
// the height less that of the ring, of the light v, and of the place.
type sector struct{ n, u, uu, v, uv, x, y float64 }

// light is that at the height of the ring, and how many pixels it is worth.
func (s sector) light() (v, weight float64) {
	u := s.u / s.n
	spread := s.uu/s.n - u*u
	if spread <= 0 {
		return s.v / s.n, s.n
	}
	slope := (s.uv/s.n - u*s.v/s.n) / spread
	return s.v/s.n - slope*u, s.n / (1 + u*u/spread)
}

type ringLights [][falloffSectors]sector

func gather[T Sample](c *valid.Checker, frame Plane[T], spec FalloffSpec, heights []float64) (rings ringLights, ok bool) {
	curve := spec.Linear
	if curve == nil {
		curve = func(sample float64) float64 { return sample }
	}
	dark := curve(spec.Dark)
	last := len(heights) - 1
	widths := make([]float64, len(heights))
	for i := range heights {
		widths[i] = max(2, 0.02*heights[last])
		for _, k := range []int{i - 1, i + 1} {
			if k >= 0 && k <= last {
				widths[i] = min(widths[i], math.Abs(heights[i]-heights[k])/2)
			}
		}
	}
	rings = make(ringLights, len(heights))
	// Around the axis light changes little and as the square of the height.
	widths[0] = max(widths[0], min(heights[1]/2, falloffAxis*heights[last]))
	scale := heights[last] * heights[last]
	for y := range frame.Height {
		row, step := frame.Row(y)
		dy := float64(y) + 0.5 - spec.Y
		at := last
		for x := range frame.Width {
			dx := float64(x) + 0.5 - spec.X
			r := math.Hypot(dx, dy)
			if r > heights[last] {
				continue
			}
			for at > 0 && heights[at-1] >= r { // the point at or beyond r, close to that of the pixel before
				at--
			}
			for heights[at] < r {
				at++
			}
			k := at
			if at > 0 && r-heights[at-1] < heights[at]-r {
				k = at - 1
			}
			width := widths[k]
			if k == last {
				width = min(2*width, (heights[k]-heights[k-1])/2)
			}
			if math.Abs(r-heights[k]) > width {
				continue
			}
			sample := float64(row[x*step])
			if sample >= spec.White {
				c.Fault("sample", quantity.Number(sample, ""), "must be below white, %s: it is clipped (column %d, row %d)", quantity.Number(spec.White, ""), x, y)
				return nil, false
			}
			v := curve(sample) - dark
			if !(math.Abs(v) <= math.MaxFloat32) {
				c.Fault("sample", quantity.Number(v, ""), "must be a finite number, as must its light (column %d, row %d)", x, y)
				return nil, false
			}
			u := (r*r - heights[k]*heights[k]) / scale
			s := &rings[k][min(falloffSectors-1, int((math.Atan2(dy, dx)+math.Pi)*falloffSectors/(2*math.Pi)))]
			s.n++
			s.u += u
			s.uu += u * u
			s.v += v
			s.uv += u * v
			s.x += dx
			s.y += dy
		}
	}
	return rings, true
}

// axis is the slope of the light by u in the disc around the axis. A pixel off the axis is
// worth only a fraction of one on it, for the slope is not certain: worth is that fraction.
func (rings ringLights) axis() (slope, worth float64) {
	var all sector
	var spread, rise float64 // within sectors, so that a gradient does no harm
	for _, s := range rings[0] {
		if s.n > 0 {
			all.n, all.u = all.n+s.n, all.u+s.u
			spread += s.uu - s.u*s.u/s.n
			rise += s.uv - s.u*s.v/s.n
		}
	}
	if !(spread > 0) {
		return 0, 1
	}
	mean := all.u / all.n
	return rise / spread, 1 / (1 + all.n*mean*mean/spread)
}

// solve finds the light of each ring and the gradient that fit all sectors best.
func (rings ringLights) solve(c *valid.Checker, spec FalloffSpec) (Falloff, error) {
	type seen struct {
		ring            int
		v, weight, x, y float64
	}
	var all []seen
	weights := make([]float64, len(rings))
	axisSlope, axisWorth := rings.axis()
	for k, ring := range rings {
		n := 0
		for _, s := range ring {
			if s.n < falloffFewest && k > 0 || s.n == 0 {
				continue
			}
			v, weight := s.light()
			if k == 0 { // too small a disc for a slope in each sector
				v, weight = (s.v-axisSlope*s.u)/s.n, axisWorth*s.n
			}
			all = append(all, seen{k, v, weight, s.x / s.n, s.y / s.n})
			weights[k] += weight
			n++
		}
		if n < falloffFewest && k > 0 || n == 0 {
			c.Fault("ring of a point", quantity.Number(float64(n), "")+" sectors in the frame", "must have at least %d, of %d (point %d, at %s)",
				falloffFewest, falloffSectors, k, quantity.Length(spec.Points[k].ImageHeight))
			return Falloff{}, c.Err()
		}
	}
	lights := make([]float64, len(rings))
	var gx, gy float64
	covariance := mat.NewSymDense(2, nil)
	for range 8 {
		clear(lights)
		for _, s := range all {
			lights[s.ring] += s.weight * s.v / (1 + gx*s.x + gy*s.y) / weights[s.ring]
		}
		var xx, xy, yy, xv, yv float64
		for _, s := range all {
			x, y := lights[s.ring]*s.x, lights[s.ring]*s.y
			left := s.v - lights[s.ring]
			xx, xy, yy = xx+s.weight*x*x, xy+s.weight*x*y, yy+s.weight*y*y
			xv, yv = xv+s.weight*x*left, yv+s.weight*y*left
		}
		d := xx*yy - xy*xy
		if !(d > 0) {
			return Falloff{}, c.Refuse("frame", "without light", "must be lit evenly")
		}
		gx, gy = (yy*xv-xy*yv)/d, (xx*yv-xy*xv)/d
		covariance = mat.NewSymDense(2, []float64{yy / d, -xy / d, -xy / d, xx / d})
	}
	// The scatter of a sector, of a ring and of all.
	scatter, counts := make([]float64, len(rings)), make([]float64, len(rings))
	meanX, meanY := make([]float64, len(rings)), make([]float64, len(rings))
	var total float64
	for _, s := range all {
		left := s.v - lights[s.ring]*(1+gx*s.x+gy*s.y)
		scatter[s.ring] += s.weight * left * left
		counts[s.ring]++
		total += s.weight * left * left
		meanX[s.ring] += s.weight * s.x / weights[s.ring]
		meanY[s.ring] += s.weight * s.y / weights[s.ring]
	}
	total /= float64(max(1, len(all)-len(rings)-2))
	f := Falloff{Points: slices.Clone(spec.Points), Uncertainties: make([]float64, len(rings)), GradientX: gx, GradientY: gy}
	relative := func(k int) float64 { // of the light of a ring, without the gradient
		own := max(total, scatter[k]/max(1, counts[k]-1))
		return math.Sqrt(own/weights[k]) / lights[k]
	}
	for k := range f.Points {
		f.Points[k].Illumination = lights[k] / lights[0]
		c.Number("illumination of a point", f.Points[k].Illumination, "", valid.Above(0.0, 10.0))
		if !c.OK() || !(lights[0] > 0) {
			return Falloff{}, c.Refuse("frame", quantity.Number(lights[k], "")+" of light", "must be brighter than dark everywhere (point %d)", k)
		}
		if k == 0 {
			f.Points[0].Illumination = 1
			continue
		}
		g := mat.NewVecDense(2, []float64{meanX[k] - meanX[0], meanY[k] - meanY[0]})
		f.Uncertainties[k] = f.Points[k].Illumination * math.Sqrt(relative(k)*relative(k)+relative(0)*relative(0)+total*mat.Inner(g, covariance, g))
	}
	return f, nil
}
