package projection

import (
	"errors"
	"fmt"
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// CameraSpec describes a camera. Its scale is given by FocalLength and Pitch, or by
// FocalX and FocalY.
type CameraSpec struct {
	Model      Model
	Distortion Distortion // moves the image in its plane, after the Model; nil is none

	FocalLength    unit.Length // 0.1 mm to 2 m
	Pitch          unit.Length // from pixel to pixel, 100 nm to 1 mm
	FocalX, FocalY float64     // focal length in pixel widths and in pixel heights

	Width, Height int // px

	// OffsetX and OffsetY lead from the raster's centre to the principal point,
	// where the optical axis meets the raster, in px: + right, + down.
	OffsetX, OffsetY float64

	// ImageCircle is the diameter of the lens's image circle about the principal
	// point, after the Distortion: 0.1 mm to 1 m, or 0 for no limit. It needs Pitch.
	// If FocalX and FocalY differ, it is taken at their geometric mean.
	ImageCircle unit.Length

	MaxAngle unit.Angle // the largest field angle used; 0 stands for that of the Model

	Pose Pose
}

// Focal lengths and offsets in pixels reach as far as an offset by half the
// largest raster at any scale needs.
var (
	focals  = valid.Closed(1e-18, 1e18)
	offsets = valid.Closed(-0x1p30, 0x1p30)
)

// Distortion is what a lens does to its image apart from the Model: what is not
// symmetric about the axis, or is measured as a change of image positions. It maps the
// image plane at a focal length of 1 onto itself, x to the right, y down, the optical axis
// at the origin. At the field angle θ and the angle φ about the axis, clockwise from the
// right, Distort takes the Model's position (r(θ) cos φ, r(θ) sin φ) to the position of
// the image.
//
// Distort leaves the origin in place. On its domain, which is connected and contains the
// origin, it is one-to-one. Undistort is its inverse, and Jacobian its derivative, with a
// positive determinant. Each gives ok = false outside the domain and for NaN. A
// Distortion must be safe for concurrent use.
//
// If the domain is a disc, a method MaxRadius() float64 may give its radius. It then
// limits what a Camera sees, like MaxAngle. Margin does not measure the distance to the
// end of any other domain.
type Distortion interface {
	Distort(x, y float64) (u, v float64, ok bool)
	Undistort(u, v float64) (x, y float64, ok bool)
	// Jacobian is ux = ∂u/∂x, uy = ∂u/∂y, vx = ∂v/∂x and vy = ∂v/∂y.
	Jacobian(x, y float64) (ux, uy, vx, vy float64, ok bool)
}

// Camera maps directions to raster positions and back. Directions lead to things far
// away; for a point at a known place use ProjectPoint.
type Camera struct{ c *camera }

type camera struct {
	spec               CameraSpec // what Spec gives
	model              Model
	distortion         Distortion
	mapping            mapping // of the model
	right, down, ahead r3.Vec  // the camera's frame, in the stage frame
	fx, fy             float64 // focal length in px
	ix, iy             float64 // 1/fx, 1/fy
	cx, cy             float64 // principal point
	width, height      int
	rMax               float64 // largest image height before the distortion, in focal lengths
	rMax2              float64 // its square, with slack
	uMax               float64 // the same after the distortion, if there is one
	uMax2              float64
	thetaMax           float64 // the field angle at rMax
	rimWithin          float64 // with a distortion: less than the least image height on the bent rim
}

// NewCamera makes a camera. The radius of a Model other than a Form must increase
// throughout the angles used, which is sampled, to 1e100 at most. A Distortion must leave
// the origin in place and not mirror.
func NewCamera(spec CameraSpec) (Camera, error) {
	v := valid.New("projection", ErrInvalid)
	geom.CheckRaster(v, spec.Width, spec.Height)
	v.Number("offset x", spec.OffsetX, "px", offsets)
	v.Number("offset y", spec.OffsetY, "px", offsets)
	spec.Pose.check(v)

	fx, fy := spec.FocalX, spec.FocalY
	if fx == 0 && fy == 0 {
		v.Length("focal length", spec.FocalLength, valid.FocalLengths)
		v.Length("pitch", spec.Pitch, valid.Pitches)
		fx = float64(spec.FocalLength) / float64(spec.Pitch)
		fy = fx
	} else {
		v.Number("focal x", fx, "px", focals)
		v.Number("focal y", fy, "px", focals)
		if spec.FocalLength != 0 {
			v.Fault("focal length", quantity.Length(spec.FocalLength), "must be 0 if focal x and focal y are given")
		}
		switch {
		case spec.Pitch != 0:
			v.Length("pitch", spec.Pitch, valid.Pitches)
		case spec.ImageCircle != 0:
			v.Fault("pitch", "0", "must be given with an image circle")
		}
	}
	if spec.ImageCircle != 0 {
		v.Length("image circle", spec.ImageCircle, valid.ImageCircles)
	}

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
	theta, ok := spec.Model.Angle(rMax)
	if !ok {
		v.Fault("model", fmt.Sprintf("%T", spec.Model), "must have an angle for its radius %v", rMax)
		return Camera{}, v.Err()
	}
	if rMax == largest {
		theta = thetaMax // where the radius stops growing, Angle has half the digits only
	}
	spec.FocalLength, spec.FocalX, spec.FocalY = 0, fx, fy
	spec.MaxAngle = theta
	axes := spec.Pose.axes()
	c := &camera{
		spec:  spec,
		model: spec.Model, distortion: spec.Distortion,
		right: axes.Right, down: r3.Scale(-1, axes.Up), ahead: r3.Scale(-1, axes.Back),
		fx: fx, fy: fy, ix: 1 / fx, iy: 1 / fy,
		cx: float64(spec.Width)/2 + spec.OffsetX, cy: float64(spec.Height)/2 + spec.OffsetY,
		width: spec.Width, height: spec.Height,
		rMax:     rMax,
		rMax2:    rMax * rMax * (1 + slack),
		uMax:     uMax,
		uMax2:    math.Min(uMax*uMax*(1+slack), math.MaxFloat64),
		thetaMax: float64(theta),
	}
	if form, ok := spec.Model.(Form); ok {
		c.mapping = form.closed().mapping
	} else {
		c.mapping = mapping{perSide: c.perSideOf, slopeAt: c.slopeOf, ray: c.rayOf}
	}
	if c.distortion != nil {
		c.rimWithin = c.findRim()
	}
	return Camera{c}, nil
}

// slack, relative, keeps inside what a few roundings have moved off a limit.
const slack = 0x1p-48

// antipode is the square of a sine. A direction nearer to the opposite of the axis
// has an angle about it that only rounding decides.
const antipode = 0x1p-100

// modelSamples is how many angles of a Model are tried.
const modelSamples = 1024

// highest is the largest image height, in focal lengths: its square is finite.
const highest = 1e100

// checkModel reports what is wrong with a model or with the limit set to it,
// and returns the largest image height and the field angle there.
func checkModel(v *valid.Checker, m Model, limit unit.Angle) (rMax float64, thetaMax unit.Angle) {
	if valid.Absent(m) || m == Form(0) {
		v.Fault("model", "not set", "must be rectilinear, equidistant, stereographic, equisolid or orthographic, or another Model")
		return
	}
	end := m.MaxAngle()
	if !(end > 0 && end <= math.Pi) {
		v.Fault("model", fmt.Sprintf("%T with largest angle %s", m, quantity.Angle(end)), "must image angles up to more than 0° and at most 180°")
		return
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
			return
		}
		last, thetaMax = r, theta
	}
	return last, thetaMax
}

// checkDistortion reports what is wrong with a distortion at the origin, and
// returns the radius of its domain, if it gives one.
func checkDistortion(v *valid.Checker, d Distortion) (rMax float64) {
	rMax = math.Inf(1)
	if d == nil {
		return rMax
	}
	if valid.Absent(d) {
		v.Fault("distortion", fmt.Sprintf("nil %T", d), "must not be a nil pointer: leave the field nil for none")
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

// Spec is the spec of which NewCamera makes the same camera, also after Crop, Scale and
// Bin. FocalX and FocalY give its scale, and Pitch too if it is known: the geometric
// mean of the two sides of a pixel, which NewCamera refuses outside its range. MaxAngle is
// the largest field angle that the lens images, whether the Model, the spec or the image
// circle sets it; with a Distortion the image circle does not count.
func (c Camera) Spec() CameraSpec {
	if c.c == nil {
		return CameraSpec{}
	}
	return c.c.spec
}

// ViewSpec describes a rectilinear view with square pixels and a centred
// principal point: a delivered frame, or the picture of a virtual camera.
type ViewSpec struct {
	Width, Height int        // px
	Across        unit.Angle // horizontal field of view, more than 0 and less than 180°
	Pose          Pose
}

// NewView makes the camera of a rectilinear view:
//
//	FocalX = FocalY = (Width/2) / tan(Across/2)
func NewView(spec ViewSpec) (Camera, error) {
	v := valid.New("projection", ErrInvalid)
	v.Angle("horizontal field of view", spec.Across, valid.FieldsOfView)
	focal := float64(spec.Width) / 2 / geom.Tan(float64(spec.Across)/2)
	if !v.OK() || spec.Width < 1 {
		focal = 1 // to check the rest all the same
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
