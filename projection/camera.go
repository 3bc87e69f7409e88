package projection

import (
	"errors"
	"fmt"
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/singular"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// CameraSpec describes a camera: a lens model in front of a raster, and where
// it stands.
//
// The scale is given either by FocalLength and Pitch or, from a calibration,
// by FocalX and FocalY.
type CameraSpec struct {
	Model Model

	// Distortion moves the image in its plane, after the Model; nil moves
	// nothing.
	Distortion Distortion

	FocalLength unit.Length // 1 µm to 2 m
	Pitch       unit.Length // from pixel to pixel, 10 nm to 1 mm

	FocalX, FocalY float64 // focal length in pixel widths and in pixel heights, 1e-18 to 1e18

	Width, Height int // px, up to 16777216 a side

	// OffsetX and OffsetY lead from the raster's centre to the principal point,
	// where the optical axis meets it, in px: + right, + down.
	OffsetX, OffsetY float64

	// ImageCircle is the diameter of the lens's image circle, centred on the
	// principal point, up to 2 m; 0 means no limit. It needs Pitch. Where FocalX and FocalY
	// differ it is taken at their geometric mean, a circle in the plane of the
	// Distortion's results.
	ImageCircle unit.Length

	// MaxAngle is the largest field angle used; 0 means that of the Model.
	MaxAngle unit.Angle

	Pose Pose
}

// Distortion is what a lens does to its image apart from the Model: what is not
// symmetric about the axis, or is known as a change of image positions. It maps
// the image plane at unit focal length, origin on the optical axis, x to the
// right, y down, onto itself. At the field angle θ and the angle φ about the
// axis, clockwise from the right, it is given the Model's position
//
//	(x, y) = (r(θ) cos φ, r(θ) sin φ)
//
// and (u, v) is where the image is.
//
// Distort leaves the origin where it is and is one-to-one where it is ok, which
// it is on a connected domain around the origin. Undistort is its inverse, and
// Jacobian its derivative,
//
//	ux = ∂u/∂x   uy = ∂u/∂y   vx = ∂v/∂x   vy = ∂v/∂y
//
// whose determinant is positive. Each gives ok = false outside the domain and
// for NaN. A Distortion must be safe for concurrent use.
//
// A Distortion whose domain is a disc may tell its radius by a method MaxRadius,
// as BrownConrady does; above 0, it limits what a Camera sees like its MaxAngle.
// Any other end of a domain is no limit to which Margin tells the distance.
type Distortion interface {
	Distort(x, y float64) (u, v float64, ok bool)
	Undistort(u, v float64) (x, y float64, ok bool)
	Jacobian(x, y float64) (ux, uy, vx, vy float64, ok bool)
}

// Camera maps directions to raster positions and back. Directions are those to
// things far away: its position counts in package rig alone. It is immutable, small
// to copy, and safe for concurrent use. The zero Camera has a raster of 0 × 0 px
// and sees nothing.
//
// Raster positions have their origin at the outer corner of the top-left pixel,
// x to the right, y down: pixel (i, j) covers [i, i+1) × [j, j+1). Directions
// are in the stage frame.
type Camera struct{ c *camera }

type camera struct {
	spec               CameraSpec // what Spec gives
	form               Form       // 0 where model is not a closed form
	model              Model
	distortion         Distortion
	right, down, ahead r3.Vec  // the camera's frame, in the stage frame
	fx, fy             float64 // focal length in px
	ix, iy             float64 // 1/fx, 1/fy
	cx, cy             float64 // principal point
	width, height      int
	rMax               float64 // largest image height before the distortion, in focal lengths
	rMax2              float64 // its square, with slack
	uMax               float64 // after it, where there is one
	uMax2              float64
	thetaMax           float64 // the field angle there
	rimWithin          float64 // less than the least image height on the bent rim, where there is a distortion
	table              *tables
}

// NewCamera checks a spec, all faults together, and returns the camera.
//
// A Model other than a Form is sampled and refused unless its radius grows from
// 0, to 1e100 at most, throughout the angles used. A Distortion is refused
// unless it leaves the origin where it is, without mirroring.
func NewCamera(spec CameraSpec) (Camera, error) {
	v := valid.New("projection", ErrInvalid)
	v.Int("width", spec.Width, "px", 1, valid.MaxSide)
	v.Int("height", spec.Height, "px", 1, valid.MaxSide)
	offset := valid.Closed(-0x1p30, 0x1p30)
	v.Number("offset x", spec.OffsetX, "px", offset)
	v.Number("offset y", spec.OffsetY, "px", offset)
	spec.Pose.check(v)

	fx, fy := spec.FocalX, spec.FocalY
	pitchRange := valid.Closed[unit.Length](1e-8, 1e-3)
	if fx == 0 && fy == 0 {
		v.Length("focal length", spec.FocalLength, valid.Closed[unit.Length](1e-6, 2))
		v.Length("pitch", spec.Pitch, pitchRange)
		fx = float64(spec.FocalLength) / float64(spec.Pitch)
		fy = fx
	} else {
		focal := valid.Closed(1e-18, 1e18)
		v.Number("focal x", fx, "px", focal)
		v.Number("focal y", fy, "px", focal)
		if spec.FocalLength != 0 {
			v.Fault("focal length", quantity.Length(spec.FocalLength), "must be 0 where focal x and focal y are given")
		}
		if spec.Pitch != 0 || spec.ImageCircle != 0 {
			v.Length("pitch", spec.Pitch, pitchRange)
		}
	}
	v.Length("image circle", spec.ImageCircle, valid.Closed[unit.Length](0, 2))

	largest, thetaMax := checkModel(v, spec.Model, spec.MaxAngle)
	rMax := min(largest, checkDistortion(v, spec.Distortion))
	if !v.OK() {
		return Camera{}, v.Err()
	}
	uMax := math.Inf(1)
	if spec.ImageCircle != 0 {
		px := float64(spec.ImageCircle) / 2 / float64(spec.Pitch)
		uMax = px / math.Sqrt(fx*fy)
	}
	if spec.Distortion == nil {
		rMax = math.Min(rMax, uMax)
	}
	axes := spec.Pose.axes()
	c := &camera{
		model: spec.Model, distortion: spec.Distortion,
		right: axes.Right, down: r3.Scale(-1, axes.Up), ahead: r3.Scale(-1, axes.Back),
		fx: fx, fy: fy, ix: 1 / fx, iy: 1 / fy,
		cx: float64(spec.Width)/2 + spec.OffsetX, cy: float64(spec.Height)/2 + spec.OffsetY,
		width: spec.Width, height: spec.Height,
		rMax:  rMax,
		rMax2: rMax * rMax * (1 + slack),
		uMax:  uMax,
		uMax2: math.Min(uMax*uMax*(1+slack), math.MaxFloat64),
		table: new(tables),
	}
	c.form, _ = spec.Model.(Form)
	theta, ok := spec.Model.Angle(rMax)
	if !ok {
		v.Fault("model", fmt.Sprintf("%T", spec.Model), "must have an angle for its radius %v", rMax)
		return Camera{}, v.Err()
	}
	if rMax == largest {
		theta = thetaMax // where the radius stops growing, Angle has half the digits only
	}
	c.thetaMax = float64(theta)
	c.spec = spec
	c.spec.FocalLength, c.spec.FocalX, c.spec.FocalY = 0, fx, fy
	c.spec.MaxAngle = theta
	if c.distortion != nil {
		c.rimWithin = c.findRim()
	}
	return Camera{c}, nil
}

// slack, relative, is what keeps a limit inside that a few roundings have moved.
const slack = 0x1p-48

// antipode, squared, is the sine below which a direction opposite to the axis has
// no angle about it but that of roundings.
const antipode = 0x1p-100

// modelSamples is how many angles of a Model are tried.
const modelSamples = 1024

// highest is the largest image height, in focal lengths: its square is finite.
const highest = 1e100

// checkModel reports what is wrong with a model or with the limit set to it,
// and returns the largest image height and the field angle there.
func checkModel(v *valid.Checker, m Model, limit unit.Angle) (rMax float64, thetaMax unit.Angle) {
	if valid.Absent(m) {
		v.Fault("model", "nil", "must be given")
		return 0, 0
	}
	end := m.MaxAngle()
	if !(end > 0 && end <= math.Pi) {
		v.Fault("model", fmt.Sprintf("%T with largest angle %s", m, quantity.Angle(end)), "must image angles up to more than 0° and at most 180°")
		return 0, 0
	}
	v.Angle("largest angle", limit, valid.Closed(0, end))
	if limit > 0 && limit < end {
		end = limit
	}
	last := -1.0
	for i := range modelSamples + 1 {
		theta := end * unit.Angle(i) / modelSamples
		r, ok := m.Radius(theta)
		if !ok && i == modelSamples {
			// The supremum may be excluded.
			theta = unit.Angle(math.Nextafter(float64(theta), 0))
			r, ok = m.Radius(theta)
		}
		slope, okSlope := m.Slope(theta)
		if !ok || !okSlope || !(r > last && r <= highest) || (i == 0 && r != 0) || math.IsNaN(slope) {
			v.Fault("model", fmt.Sprintf("%T with radius %v at %s", m, r, quantity.Angle(theta)), "must have a radius that grows from 0 throughout its angles, to 1e100 at most")
			return 0, 0
		}
		last, thetaMax = r, theta
	}
	return last, thetaMax
}

// checkDistortion reports what is wrong with a distortion at the origin, and
// returns the radius of its domain where it tells one.
func checkDistortion(v *valid.Checker, d Distortion) (rMax float64) {
	rMax = math.Inf(1)
	if d == nil {
		return rMax
	}
	if valid.Absent(d) {
		v.Fault("distortion", fmt.Sprintf("nil %T", d), "must not be a nil pointer; leave the field nil for none")
		return rMax
	}
	name := fmt.Sprintf("%T", d)
	if x, y, ok := d.Distort(0, 0); !ok || x != 0 || y != 0 {
		v.Fault("distortion", name, "must leave (0, 0) where it is, not at (%v, %v)", x, y)
	}
	if x, y, ok := d.Undistort(0, 0); !ok || x != 0 || y != 0 {
		v.Fault("distortion", name, "must have an inverse that leaves (0, 0) where it is, not at (%v, %v)", x, y)
	}
	ux, uy, vx, vy, ok := d.Jacobian(0, 0)
	if det := ux*vy - uy*vx; !ok || !(det > 0 && det <= math.MaxFloat64) {
		v.Fault("distortion", name, "must have a derivative with a positive determinant at (0, 0), not %v", det)
	}
	if disc, ok := d.(interface{ MaxRadius() float64 }); ok {
		if rMax = disc.MaxRadius(); !(rMax > 0) {
			v.Fault("distortion", name, "must have a largest radius above 0, not %v", rMax)
		}
	}
	return rMax
}

// Size is the raster's size in pixels.
func (c Camera) Size() (width, height int) {
	if c.c == nil {
		return 0, 0
	}
	return c.c.width, c.c.height
}

// Spec is a spec of which NewCamera makes the same camera, also after Crop, Scale
// and Bin. It gives the scale by FocalX and FocalY, and Pitch as well where it is
// known: after a Scale by two ratios it is their geometric mean. MaxAngle is the
// largest field angle that the lens images, whichever of the Model, the image
// circle and the spec sets it; where there is a Distortion the image circle does
// not count for it. The Spec of the zero Camera is zero.
func (c Camera) Spec() CameraSpec {
	if c.c == nil {
		return CameraSpec{}
	}
	return c.c.spec
}

// Project is the raster position that images a direction: dir in the stage
// frame, of any length but 0, x and y in px.
//
//	(x, y) = principal point + r(θ)·(FocalX·cos φ, FocalY·sin φ)
//
// with θ the angle from the optical axis and φ the angle about it, clockwise
// from the right seen from behind the camera; a Distortion comes between r(θ)
// and the focal lengths.
//
// ok is false where the lens forms no image: beyond MaxAngle, the image circle
// or the domain of the Distortion, opposite to the optical axis to within
// 1e-15 rad (the image of that direction is a whole circle), and for a dir that
// is zero or not finite.
//
// The position may lie outside the raster, so that what straddles an edge can be
// followed. What is on the raster, Margin tells. Unproject is the inverse.
func (c Camera) Project(dir r3.Vec) (x, y float64, ok bool) {
	if c.c == nil {
		return 0, 0, false
	}
	v, n, ok := c.c.local(dir)
	if !ok {
		return 0, 0, false
	}
	k, ok := c.c.perSide(v.X*v.X+v.Y*v.Y, v.Z, n)
	if !ok {
		return 0, 0, false
	}
	if c.c.distortion != nil {
		a, b, ok := c.c.distort(k*v.X, k*v.Y)
		if !ok {
			return 0, 0, false
		}
		return c.c.cx + c.c.fx*a, c.c.cy + c.c.fy*b, true
	}
	return c.c.cx + c.c.fx*k*v.X, c.c.cy + c.c.fy*k*v.Y, true
}

// distort is Distort within the image circle.
func (c *camera) distort(x, y float64) (u, v float64, ok bool) {
	u, v, ok = c.distortion.Distort(x, y)
	return u, v, ok && u*u+v*v <= c.uMax2
}

// undistort is the model's position of an image position, both in focal
// lengths, where it lies within the image circle and MaxAngle.
func (c *camera) undistort(u, v float64) (x, y float64, ok bool) {
	if c.distortion != nil {
		if !(u*u+v*v <= c.uMax2) {
			return 0, 0, false
		}
		if u, v, ok = c.distortion.Undistort(u, v); !ok {
			return 0, 0, false
		}
	}
	return u, v, square(u, v) <= c.rMax2
}

// square is u² + v², not fused, so that it has the same bits wherever it is
// taken: at a rim the angle is the root of its last digit.
func square(u, v float64) float64 { return float64(u*u) + float64(v*v) }

// local turns a direction into the camera's frame, here +X right, +Y down, +Z
// ahead, scaled where its fourth power would overflow or vanish; n is its length.
func (c *camera) local(dir r3.Vec) (v r3.Vec, n float64, ok bool) {
	for range 2 {
		v = r3.Vec{
			X: c.right.X*dir.X + c.right.Y*dir.Y + c.right.Z*dir.Z,
			Y: c.down.X*dir.X + c.down.Y*dir.Y + c.down.Z*dir.Z,
			Z: c.ahead.X*dir.X + c.ahead.Y*dir.Y + c.ahead.Z*dir.Z,
		}
		n2 := v.X*v.X + v.Y*v.Y + v.Z*v.Z
		if n2 > 0x1p-300 && n2 < 0x1p300 {
			return v, math.Sqrt(n2), true
		}
		m := max(math.Abs(dir.X), math.Abs(dir.Y), math.Abs(dir.Z))
		if !(m > 0 && m <= math.MaxFloat64) {
			break
		}
		dir = r3.Vec{X: dir.X / m, Y: dir.Y / m, Z: dir.Z / m}
	}
	return r3.Vec{}, 0, false
}

// perSide is r/s, the image height in focal lengths over the distance s of the
// direction's tip from the axis, for s², the component z along the axis, and the
// length n. It has a limit on the axis, and most closed forms need no angle for
// it: sums of n and z are taken in the form that does not cancel.
func (c *camera) perSide(s2, z, n float64) (k float64, ok bool) {
	switch c.form {
	case Rectilinear: // 1/z
		k, ok = 1/z, z > 0
	case Stereographic: // tan(θ/2) = s/(n + z) = (n − z)/s
		if z >= 0 {
			k, ok = 2/(n+z), true
		} else {
			k, ok = 2*(n-z)/s2, s2 > antipode*n*n
		}
	case Equidistant:
		if s2 > 0 {
			s := math.Sqrt(s2)
			k, ok = math.Atan2(s, z)/s, z > 0 || s2 > antipode*n*n
		} else {
			k, ok = 1/n, z > 0
		}
	case Equisolid: // sin²(θ/2) = (n − z)/2n = s²/(2n(n + z))
		if z >= 0 {
			k, ok = math.Sqrt(2/(n*(n+z))), true
		} else {
			k, ok = math.Sqrt(2*(n-z)/(n*s2)), s2 > antipode*n*n
		}
	case Orthographic: // sin θ = s/n
		k, ok = 1/n, z >= -slack*n
	default:
		k, ok = c.perSideOf(s2, z, n)
	}
	return k, ok && k*k*s2 <= c.rMax2
}

// perSideOf is perSide of a model that is not a closed form.
func (c *camera) perSideOf(s2, z, n float64) (float64, bool) {
	if s2 == 0 {
		slope, ok := c.model.Slope(0)
		return slope / n, ok && z > 0
	}
	s := math.Sqrt(s2)
	theta := math.Atan2(s, z)
	if theta > c.thetaMax*(1+slack) || (z < 0 && s2 <= antipode*n*n) {
		return 0, false
	}
	r, ok := c.model.Radius(unit.Angle(min(theta, c.thetaMax)))
	return r / s, ok
}

// Unproject is the direction, of length 1 in the stage frame, whose image is at
// (x, y) px, the inverse of Project. The position may lie outside the raster.
// ok is false beyond MaxAngle, the image circle or the domain of the Distortion,
// and for x or y not finite.
func (c Camera) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	if c.c == nil {
		return r3.Vec{}, false
	}
	a, b, ok := c.c.undistort((x-c.c.cx)*c.c.ix, (y-c.c.cy)*c.c.iy)
	if !ok {
		return r3.Vec{}, false
	}
	k, z, ok := c.c.ray(square(a, b))
	if !ok {
		return r3.Vec{}, false
	}
	return c.c.toStage(r3.Vec{X: k * a, Y: k * b, Z: z}), true
}

// toStage turns a vector of the camera's frame, here +X right, +Y down, +Z ahead,
// into the stage frame.
func (c *camera) toStage(v r3.Vec) r3.Vec {
	return r3.Vec{
		X: v.X*c.right.X + v.Y*c.down.X + v.Z*c.ahead.X,
		Y: v.X*c.right.Y + v.Y*c.down.Y + v.Z*c.ahead.Y,
		Z: v.X*c.right.Z + v.Y*c.down.Z + v.Z*c.ahead.Z,
	}
}

// ray is sin θ/r and cos θ for the square of an image height in focal lengths.
func (c *camera) ray(r2 float64) (k, z float64, ok bool) {
	switch c.form {
	case Rectilinear:
		k = 1 / math.Sqrt(1+r2)
		z = k
	case Stereographic:
		k = 4 / (4 + r2)
		z = (4 - r2) / (4 + r2)
	case Equisolid:
		k = math.Sqrt(max(0, 1-r2/4))
		z = 1 - r2/2
	case Orthographic:
		k = 1
		z = math.Sqrt(max(0, 1-r2))
	default:
		return c.turn(math.Sqrt(r2))
	}
	return k, z, true
}

// turn is sin θ/r and cos θ for the models whose inverse needs an angle.
func (c *camera) turn(r float64) (k, z float64, ok bool) {
	theta := r
	if c.form != Equidistant {
		a, ok := c.model.Angle(min(r, c.rMax))
		if !ok {
			return 0, 0, false
		}
		theta = float64(a)
	}
	if r == 0 {
		slope, ok := c.model.Slope(0)
		return 1 / slope, 1, ok && slope > 0
	}
	sin, z := math.Sincos(theta)
	return sin / r, z, true
}

// Margin is how far, in px, (x, y) lies inside the limit nearest to it of what
// the camera sees: an edge of the raster, the image circle, the circle of
// MaxAngle, or that of the Distortion's MaxRadius. It is negative outside, and
// then at least the distance to the limit most exceeded. Where FocalX and FocalY
// differ, the distance to a circle (an ellipse on the raster) is at least that
// given, and more by at most their ratio. A Distortion bends the last two
// circles, and the distance to what comes of them is that of the nearest point,
// by search. For a position that the Distortion does not reach, for x or y not a
// number or too large to be squared, and for the zero Camera it is −Inf.
func (c Camera) Margin(x, y float64) float64 {
	if c.c == nil || math.IsNaN(x) || math.IsNaN(y) {
		return math.Inf(-1)
	}
	edge := min(x, float64(c.c.width)-x, y, float64(c.c.height)-y)
	u, v := (x-c.c.cx)/c.c.fx, (y-c.c.cy)/c.c.fy
	f := min(c.c.fx, c.c.fy)
	r := math.Sqrt(square(u, v)) // blends ask this of every pixel
	if r > math.MaxFloat64 {
		return math.Inf(-1)
	}
	if c.c.distortion == nil {
		return min(edge, (c.c.rMax-r)*f)
	}
	if near := min(edge, (c.c.uMax-r)*f); r < c.c.rimWithin && near <= (c.c.rimWithin-r)*f {
		return near // the rim is farther
	}
	a, b, ok := c.c.distortion.Undistort(u, v)
	if sum := a + b; !ok || sum-sum != 0 { // NaN or infinite
		return math.Inf(-1)
	}
	rim := c.c.fromRim(u, v)
	if !(square(a, b) <= c.c.rMax2) {
		rim = -rim
	}
	return min(edge, rim*f, (c.c.uMax-r)*f)
}

// rimSamples is how many points of a bent rim are tried before the search.
const rimSamples = 64

// findRim is the least image height of points tried on the bent rim, less the
// longest way from one to the next for what lies between them; −Inf where the
// distortion does not reach.
func (c *camera) findRim() float64 {
	least, longest := math.Inf(1), 0.0
	var lastU, lastV float64
	for i := range rimSamples + 1 {
		sin, cos := math.Sincos(2 * math.Pi / rimSamples * float64(i))
		u, v, ok := c.distortion.Distort(c.rMax*cos, c.rMax*sin)
		if sum := u + v; !ok || sum-sum != 0 { // NaN or infinite
			return math.Inf(-1)
		}
		if i > 0 {
			longest = max(longest, math.Hypot(u-lastU, v-lastV))
		}
		least, lastU, lastV = min(least, math.Hypot(u, v)), u, v
	}
	return least - longest
}

// fromRim is the distance, in focal lengths, of an image position from the
// nearest image of a point at the largest radius: +Inf where the distortion ends
// before that.
func (c *camera) fromRim(u, v float64) float64 {
	distance := func(phi float64) float64 {
		sin, cos := math.Sincos(phi)
		p, q, ok := c.distortion.Distort(c.rMax*cos, c.rMax*sin)
		if d := math.Hypot(p-u, q-v); ok && !math.IsNaN(d) {
			return d
		}
		return math.Inf(1)
	}
	const step = 2 * math.Pi / rimSamples
	at, least := 0.0, math.Inf(1)
	for i := range rimSamples {
		if d := distance(step * float64(i)); d < least {
			at, least = step*float64(i), d
		}
	}
	// Whichever is least, the nearest is within the golden part of what was left:
	// the error is of its square.
	const golden = 0.6180339887498949
	for half := step; half > 1e-9; half *= golden {
		for _, phi := range [2]float64{at - half*(1-golden), at + half*(1-golden)} {
			if d := distance(phi); d < least {
				at, least = phi, d
			}
		}
	}
	return least
}

// FieldOfView is the angle seen across and down the raster, along the row and
// the column of the principal point, and from corner to corner: the sum of the
// field angles at both ends, so that decentring counts on each side. The
// diagonal is that of the two that sees more. MaxAngle and the image circle
// limit every side. Where the principal point lies beside the raster, across
// and down are the differences of the field angles of the edges. A row or
// column that a Distortion bends is that of the raster. All are 0 for the zero
// Camera. FieldAlong is the same along any line.
func (c Camera) FieldOfView() (across, down, diagonal unit.Angle) {
	if c.c == nil {
		return 0, 0, 0
	}
	left, right := c.c.cx/c.c.fx, (float64(c.c.width)-c.c.cx)/c.c.fx
	top, bottom := c.c.cy/c.c.fy, (float64(c.c.height)-c.c.cy)/c.c.fy
	across = c.c.sight(-left, 0, left) + c.c.sight(right, 0, right)
	down = c.c.sight(0, -top, top) + c.c.sight(0, bottom, bottom)
	diagonal = max(
		c.c.sight(-left, -top, 1)+c.c.sight(right, bottom, 1),
		c.c.sight(right, -top, 1)+c.c.sight(-left, bottom, 1))
	return across, down, diagonal
}

// sight is the field angle, with a sign, at an image position in focal lengths
// or at the limit of what the lens images on the way there from the axis.
func (c *camera) sight(u, v, sign float64) unit.Angle {
	if c.distortion == nil {
		return c.side(math.Copysign(math.Hypot(u, v), sign))
	}
	at := func(t float64) (float64, bool) {
		x, y, ok := c.undistort(t*u, t*v)
		return math.Hypot(x, y), ok
	}
	r, ok := at(1)
	for low, high := 0.0, 1.0; !ok && high-low > 0x1p-52; {
		t := (low + high) / 2
		if _, inside := at(t); inside {
			low = t
		} else {
			high = t
		}
		r, _ = at(low)
	}
	return c.side(math.Copysign(r, sign))
}

// side is the field angle, with the sign of r, at an image height of the model
// or at its limit.
func (c *camera) side(r float64) unit.Angle {
	theta, ok := unit.Angle(c.thetaMax), true
	if math.Abs(r) < c.rMax {
		theta, ok = c.model.Angle(math.Abs(r))
	}
	if !ok {
		return 0
	}
	return unit.Angle(math.Copysign(float64(theta), r))
}

// Density is how finely a camera samples the directions around one, in pixels
// per degree of arc.
type Density struct {
	Radial     float64 // along the radius from the optical axis
	Tangential float64 // across it
	// Least is that along the arc where it is least: a degree of the plate holds
	// at least so many pixels in any direction. It is the smaller of Radial and
	// Tangential where FocalX and FocalY are equal and there is no Distortion, and
	// smaller than both at most places where not.
	Least float64
}

// Density is the sampling density in a direction, in px per degree:
//
//	Radial      f · dr/dθ · π/180
//	Tangential  f · r/sin θ · π/180
//
// where f lies between FocalX and FocalY according to the direction on the
// raster; a Distortion stretches each. Least is the smaller singular value of
// the Jacobian. ok is that of Project, so the direction may be imaged outside the
// raster; it is false too where a density is not finite.
//
// Source: the scale factors h′ and k′ of Snyder (1987), chapters 20 to 25.
func (c Camera) Density(dir r3.Vec) (d Density, ok bool) {
	if c.c == nil {
		return Density{}, false
	}
	v, n, ok := c.c.local(dir)
	if !ok {
		return Density{}, false
	}
	p, ok := c.c.polar(v, n)
	if !ok {
		return Density{}, false
	}
	d = Density{Radial: math.Hypot(p.xr, p.yr) * float64(Degree), Tangential: math.Hypot(p.xt, p.yt) * float64(Degree)}
	if c.c.distortion == nil && (c.c.fx == c.c.fy || p.cos == 0 || p.sin == 0) {
		d.Least = min(d.Radial, d.Tangential)
	} else {
		_, least := singular.Values(p.xr, p.xt, p.yr, p.yt)
		d.Least = least * float64(Degree)
	}
	return d, true
}

// polar is the derivative of the raster position in a direction, in px per
// radian along the radius from the optical axis and across it, clockwise seen
// from behind, and the angle of that radius from the camera's right.
type polar struct{ xr, xt, yr, yt, cos, sin float64 }

// polar is the derivative for a direction in the camera's frame and its length.
func (c *camera) polar(v r3.Vec, n float64) (p polar, ok bool) {
	s2 := v.X*v.X + v.Y*v.Y
	k, ok := c.perSide(s2, v.Z, n)
	if !ok {
		return polar{}, false
	}
	tangential := k * n // sin θ = s/n
	radial := 1.0
	switch c.form {
	case Rectilinear:
		radial = tangential * tangential
	case Stereographic:
		radial = tangential
	case Equidistant:
	case Equisolid: // cos(θ/2) and its inverse
		radial = 1 / tangential
	case Orthographic:
		radial = max(0, v.Z/n)
	default:
		theta := min(math.Atan2(math.Sqrt(s2), v.Z), c.thetaMax)
		slope, ok := c.model.Slope(unit.Angle(theta))
		if !ok {
			return polar{}, false
		}
		radial = slope
	}
	p.cos = 1
	if s := math.Sqrt(s2); s > 0 {
		p.cos, p.sin = v.X/s, v.Y/s
	}
	p.xr, p.xt = radial*p.cos, -tangential*p.sin
	p.yr, p.yt = radial*p.sin, tangential*p.cos
	if c.distortion != nil {
		if _, _, ok := c.distort(k*v.X, k*v.Y); !ok {
			return polar{}, false
		}
		ux, uy, vx, vy, ok := c.distortion.Jacobian(k*v.X, k*v.Y)
		if sum := ux + uy + vx + vy; !ok || sum-sum != 0 { // NaN or infinite
			return polar{}, false
		}
		p.xr, p.yr = ux*p.xr+uy*p.yr, vx*p.xr+vy*p.yr
		p.xt, p.yt = ux*p.xt+uy*p.yt, vx*p.xt+vy*p.yt
	}
	p.xr, p.xt = p.xr*c.fx, p.xt*c.fx
	p.yr, p.yt = p.yr*c.fy, p.yt*c.fy
	sum := p.xr + p.xt + p.yr + p.yt
	return p, sum-sum == 0 // a model's slope may be infinite at its end
}

// ViewSpec describes a rectilinear view with square pixels and a centred
// principal point: a delivered frame, or the picture of a virtual camera.
type ViewSpec struct {
	Width, Height int        // px, up to 16777216 a side
	Across        unit.Angle // horizontal field of view, more than 0 and less than 180°
	Pose          Pose
}

// NewView is the camera that takes such a view. Its focal length in pixels is
//
//	FocalX = FocalY = (Width/2) / tan(Across/2)
func NewView(spec ViewSpec) (Camera, error) {
	v := valid.New("projection", ErrInvalid)
	v.Angle("horizontal field of view", spec.Across, valid.FieldsOfView)
	focal := float64(spec.Width) / 2 / geom.Tan(float64(spec.Across)/2)
	if !v.OK() || spec.Width < 1 {
		focal = 1 // the rest is checked all the same
	}
	c, err := NewCamera(CameraSpec{
		Model:  Rectilinear,
		FocalX: focal, FocalY: focal,
		Width: spec.Width, Height: spec.Height,
		Pose: spec.Pose,
	})
	if err := errors.Join(v.Err(), err); err != nil {
		return Camera{}, err
	}
	return c, nil
}
