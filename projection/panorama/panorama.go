package panorama

import (
	"errors"
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("panorama: invalid value")

// pole is the square of a sine. A direction nearer than that to straight up or down has
// no heading but that of rounding.
const pole = 0x1p-100

func checkPose(v *valid.Checker, p projection.Pose) {
	geom.CheckPose(v, p.Position, p.Heading, p.Elevation, p.Roll)
}

func axes(p projection.Pose) orient.Axes { return orient.FromAngles(p.Heading, p.Elevation, p.Roll) }

// around is the position along a panorama of width w, in [0, w), of a direction in
// its own frame.
func around(v r3.Vec, w float64) float64 {
	x := w * (0.5 + math.Atan2(v.X, -v.Z)*(1/(2*math.Pi)))
	if x >= w || x < 0 {
		return 0 // the seam, reached from the left or past it by rounding
	}
	return x
}

// heading is the sine and the cosine of the heading at x, the inverse of around.
func heading(x, w float64) (sin, cos float64) {
	if x < 0 || x > w {
		x = math.Mod(x, w)
	}
	return math.Sincos((x/w - 0.5) * (2 * math.Pi))
}
