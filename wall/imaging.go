package wall

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Camera is what ImagePitch asks of a camera: where in its picture, in
// photosites, a direction of any length above 0 in the stage frame falls; ok is
// false where it falls outside.
type Camera interface {
	Project(dir r3.Vec) (x, y float64, ok bool)
}

// ImagePitch is how many photosites lie between a wall pixel and the next in the
// picture of a camera whose entrance pupil is the eye, at a raster position:
// across along a row of the wall, down along a column. With c(x, y) the place in
// the picture of a raster position,
//
//	across = |c(x+½, y) − c(x−½, y)|
//	down   = |c(x, y+½) − c(x, y−½)|
//
// so distance, slant, and the camera's own stretch are all in it. Beyond the
// edge of a panel its plane is continued. As a value for the very point it errs
// by the square of what half a pixel takes off or adds to the distance along the
// axis of a rectilinear camera, in parts of that distance, and for any smooth
// projection by up to some 2 (pixel/(2 distance))² of itself: by 2e-6 where the
// wall is 500 pixels away.
//
// ok is false where Unproject has no answer, where the camera is nil or does not
// see the position and the points half a pixel away, and where the two halves
// of a step differ by more than half of it: at the seam of a panorama, or so
// close or so small that a pitch means nothing.
//
// Source: elementary geometry.
func (v View) ImagePitch(c Camera, x, y float64) (across, down float64, ok bool) {
	if _, seen := v.Unproject(x, y); !seen || c == nil {
		return 0, 0, false
	}
	i := v.s.segment(x)
	g := &v.segments[i]
	middle := g.at(x-float64(i)*v.s.segmentX, y)
	mx, my, ok := c.Project(middle)
	if !ok {
		return 0, 0, false
	}
	step := func(pixel r3.Vec) (float64, bool) {
		half := r3.Scale(0.5, pixel)
		ax, ay, okA := c.Project(r3.Sub(middle, half))
		bx, by, okB := c.Project(r3.Add(middle, half))
		whole := math.Hypot(bx-ax, by-ay)
		uneven := math.Hypot(ax+bx-2*mx, ay+by-2*my)
		return whole, okA && okB && uneven <= whole/2 && whole > 0 && whole <= math.MaxFloat64
	}
	across, okX := step(g.x)
	down, okY := step(g.y)
	if !okX || !okY {
		return 0, 0, false
	}
	return across, down, true
}
