package wall

import (
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Camera is what ImageGrid asks of a camera: where in its picture, in
// photosites, a direction of any length above 0 in the stage frame falls; ok is
// false where it falls outside.
type Camera interface {
	Project(dir r3.Vec) (x, y float64, ok bool)
}

// Grid is the picture of a wall's pixel grid around one point: the steps in the
// picture, in photosites, from a wall pixel to the next one in its row (Across)
// and to the one below it (Down). The picture's x points to the right and its y
// down. Seen straight on and upright, with an image pitch p, it is
//
//	Across = (p, 0),  Down = (0, p)
type Grid struct{ Across, Down r2.Vec }

// reciprocal checks a grid and gives its reciprocal vectors: the frequencies, in
// cycles per photosite, of one cycle a pixel across and of one down.
func (g Grid) reciprocal(c *valid.Checker) (u, v r2.Vec) {
	lengths := valid.Closed[float64](1e-3, 1e6)
	a, b := math.Hypot(g.Across.X, g.Across.Y), math.Hypot(g.Down.X, g.Down.Y)
	c.Number("step of the grid across", a, "photosites", lengths)
	c.Number("step of the grid down", b, "photosites", lengths)
	if !c.OK() {
		return r2.Vec{}, r2.Vec{}
	}
	area := r2.Cross(g.Across, g.Down)
	lean := unit.Angle(math.Atan2(math.Abs(area), math.Abs(r2.Dot(g.Across, g.Down))))
	c.Angle("angle between the steps of the grid", lean, valid.Closed[unit.Angle](1e-3, math.Pi/2))
	return r2.Scale(1/area, r2.Vec{X: g.Down.Y, Y: -g.Down.X}),
		r2.Scale(1/area, r2.Vec{X: -g.Across.Y, Y: g.Across.X})
}

// ImageGrid is the picture of the wall's pixel grid around a raster position, in
// a camera whose entrance pupil is the eye. With c(x, y) the place in the
// picture of a raster position,
//
//	Across = c(x+½, y) − c(x−½, y)
//	Down   = c(x, y+½) − c(x, y−½)
//
// so distance, slant, roll and the camera's own stretch are all in it. Beyond
// the edge of a panel its plane is continued. A step over a whole pixel is
// not quite the derivative at its middle. For any smooth projection its relative
// error is up to some 2 (pixel/(2 distance))²: 2e-6 where the wall is 500 pixels
// away. For a rectilinear camera it is (δ/z)², where half a pixel changes the
// distance z along the axis by δ.
//
// ok is false where Unproject has no answer, where the camera is nil or does not
// see the position and the points half a pixel away, and where the two halves
// of a step differ by more than half of it: at the seam of a panorama, or so
// close or so small that a pitch means nothing.
//
// Source: elementary geometry.
func (v View) ImageGrid(c Camera, x, y float64) (grid Grid, ok bool) {
	if _, seen := v.Unproject(x, y); !seen || valid.Absent(c) {
		return Grid{}, false
	}
	i := v.s.segment(x)
	g := &v.segments[i]
	middle := g.at(x-float64(i)*v.s.segmentX, y)
	mx, my, ok := c.Project(middle)
	if !ok {
		return Grid{}, false
	}
	step := func(pixel r3.Vec) (r2.Vec, bool) {
		half := r3.Scale(0.5, pixel)
		ax, ay, okA := c.Project(r3.Sub(middle, half))
		bx, by, okB := c.Project(r3.Add(middle, half))
		way := r2.Vec{X: bx - ax, Y: by - ay}
		whole := math.Hypot(way.X, way.Y)
		uneven := math.Hypot(ax+bx-2*mx, ay+by-2*my)
		return way, okA && okB && uneven <= whole/2 && whole > 0 && whole <= math.MaxFloat64
	}
	across, okX := step(g.x)
	down, okY := step(g.y)
	if !okX || !okY {
		return Grid{}, false
	}
	return Grid{Across: across, Down: down}, true
}
