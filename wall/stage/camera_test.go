package stage_test

import (
	"math"

	"example.com/platewright/internal/orient"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// pinhole is a rectilinear camera. focal is in photosites.
type pinhole struct {
	axes          orient.Axes
	focal         float64
	width, height int
}

func newPinhole(heading, elevation, roll unit.Angle, focal float64, width, height int) pinhole {
	return pinhole{orient.FromAngles(heading, elevation, roll), focal, width, height}
}

func (p pinhole) Size() (width, height int) { return p.width, p.height }

func (p pinhole) Project(dir r3.Vec) (x, y float64, ok bool) {
	d := p.axes.FromStage(dir)
	x, y = float64(p.width)/2+p.focal*d.X/-d.Z, float64(p.height)/2+p.focal*d.Y/d.Z
	return x, y, d.Z < 0 && x >= 0 && y >= 0 && x <= float64(p.width) && y <= float64(p.height)
}

func (p pinhole) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	d := p.axes.ToStage(r3.Vec{X: x - float64(p.width)/2, Y: float64(p.height)/2 - y, Z: -p.focal})
	return r3.Unit(d), !math.IsNaN(x + y)
}
