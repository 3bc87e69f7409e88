package panorama

import (
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// CylindricalSpec describes a cylindrical panorama. Pixels are square at the horizon if
// Height = Width/2π · (tan Top − tan Bottom).
type CylindricalSpec struct {
	Width, Height int        // px
	Bottom, Top   unit.Angle // elevations of the edges, between −90° and 90°
	Pose          projection.Pose
}

// Cylindrical is a panorama all around on an upright cylinder: upright lines stay
// straight. λ is the heading from the pose's ahead, φ the elevation:
//
//	x = Width·(1/2 + λ/2π)    y = Height·(tan Top − tan φ)/(tan Top − tan Bottom)
//
// The middle of the raster looks ahead. The left and the right edge meet behind.
type Cylindrical struct {
	width, height int
	focal, top    float64 // px a unit of tan φ, and the tangent at y = 0
	axes          orient.Axes
}

// NewCylindrical makes a cylindrical panorama.
func NewCylindrical(spec CylindricalSpec) (Cylindrical, error) {
	v := valid.New("panorama", ErrInvalid)
	geom.CheckRaster(v, spec.Width, spec.Height)
	upright := valid.Between(-90*projection.Degree, 90*projection.Degree)
	v.Angle("bottom", spec.Bottom, upright)
	v.Angle("top", spec.Top, upright)
	top := geom.Tan(float64(spec.Top))
	focal := float64(spec.Height) / (top - geom.Tan(float64(spec.Bottom)))
	if v.OK() && !(focal > 0 && focal <= 1e18) {
		v.Angle("top", spec.Top, valid.Above(spec.Bottom, 90*projection.Degree))
		if v.OK() {
			v.Number("height over the difference of the tangents", focal, "px", valid.Between(0, 1e18))
		}
	}
	checkPose(v, spec.Pose)
	if err := v.Err(); err != nil {
		return Cylindrical{}, err
	}
	return Cylindrical{spec.Width, spec.Height, focal, top, axes(spec.Pose)}, nil
}

// Size is the raster's size in pixels.
func (c Cylindrical) Size() (width, height int) { return c.width, c.height }

// WrapX reports that the left and the right edge of the raster meet.
func (c Cylindrical) WrapX() bool { return true }

// Margin is the distance, in px, of (x, y) from the nearer of the top and the bottom edge:
// positive between them, negative beyond, −Inf for x or y not a number.
func (c Cylindrical) Margin(x, y float64) float64 {
	if c.width == 0 || math.IsNaN(x) || math.IsNaN(y) {
		return math.Inf(-1)
	}
	return min(y, float64(c.height)-y)
}

// Project is the raster position of a direction. y lies beside the raster if the elevation
// is not between Bottom and Top. ok is also false within 1e-15 rad of straight up and down.
func (c Cylindrical) Project(dir r3.Vec) (x, y float64, ok bool) {
	dir, ok = geom.Handy(dir)
	if !ok || c.width == 0 {
		return 0, 0, false
	}
	v := c.axes.FromStage(dir)
	h2 := v.X*v.X + v.Z*v.Z
	if h2 < pole*v.Y*v.Y {
		return 0, 0, false
	}
	return around(v, float64(c.width)), c.focal * (c.top - v.Y/math.Sqrt(h2)), true
}

// Unproject is the direction at (x, y) px. Beyond the left and the right edge x continues
// around; y may lie above or below the raster.
func (c Cylindrical) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	tangent := c.top - y/c.focal
	if c.width == 0 || !(math.Abs(x) <= math.MaxFloat64 && math.Abs(tangent) <= math.MaxFloat64) {
		return r3.Vec{}, false
	}
	sin, cos := heading(x, float64(c.width))
	k := 1 / math.Hypot(1, tangent)
	return c.axes.ToStage(r3.Vec{X: k * sin, Y: k * tangent, Z: -k * cos}), true
}
