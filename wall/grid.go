package wall

import (
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Camera tells View.ImageGrid where a direction of the stage frame appears in a
// camera's picture, in photosites. ok is false outside the picture.
type Camera interface {
	Project(dir r3.Vec) (x, y float64, ok bool)
}

// Grid is the image of a wall's pixel grid around one point: the steps in the
// picture, in photosites, from a wall pixel to the next one in its row (Across)
// and to the one below it (Down). The picture's x points right and its y down.
// A wall seen squarely and upright, whose pitch in the image is p, has
//
//	Across = (p, 0),  Down = (0, p)
type Grid struct{ Across, Down r2.Vec }

// ImageGrid is the image of the wall's pixel grid around a raster position, in a
// camera whose entrance pupil is the eye. It contains distance, slant, roll and
// the camera's own projection. With c(x, y) the place of a raster position in the
// picture,
//
//	Across = c(x+½, y) − c(x−½, y)
//	Down   = c(x, y+½) − c(x, y−½)
//
// At the edge of a panel its plane is continued. At the edge of the picture, where the
// camera sees half a pixel on one side only, the step is twice that half. A step over a
// whole pixel
// differs a little from the derivative at its middle. For an equidistant fisheye
// the relative error is at most 2 (pixel/(2 distance))² up to 130° off its axis:
// 2e-6 from 500 pixels away. For a rectilinear camera it is (δ/z)², if half a pixel
// changes the distance z along the axis by δ.
//
// The Grid is valid only if why is Seen. OutsideRaster, FromBehind and Hidden are
// as in Sight. OutsidePicture means that the camera is nil, or does not see the
// position and half a pixel beside it. Uneven means that the two halves of a step
// differ by more than half of it: at the seam of a panorama, or where a pixel
// is so near, or so small in the picture, that it has no meaningful pitch.
func (v View) ImageGrid(c Camera, x, y float64) (grid Grid, why Sight) {
	if _, why := v.look(x, y); why != Seen {
		return Grid{}, why
	}
	if valid.Absent(c) {
		return Grid{}, OutsidePicture
	}
	i := v.s.segment(x)
	g := &v.segments[i]
	middle := g.at(x-float64(i)*v.s.segmentX, y)
	mx, my, ok := c.Project(middle)
	if !ok {
		return Grid{}, OutsidePicture
	}
	at := func(pixel r3.Vec, fraction float64) (p r2.Vec, ok bool) {
		x, y, ok := c.Project(r3.Add(middle, r3.Scale(fraction, pixel)))
		return r2.Vec{X: x - mx, Y: y - my}, ok
	}
	step := func(pixel r3.Vec) (r2.Vec, Sight) {
		a, okA := at(pixel, -0.5)
		b, okB := at(pixel, 0.5)
		way := r2.Sub(b, a)
		uneven := r2.Add(a, b)
		if okA != okB {
			// The two halves of the half that the camera sees.
			end, side := b, 0.25
			if okA {
				end, side = a, -0.25
			}
			quarter, _ := at(pixel, side)
			way, uneven = r2.Scale(8*side, end), r2.Scale(2, r2.Sub(end, r2.Scale(2, quarter)))
		}
		whole := math.Hypot(way.X, way.Y)
		switch {
		case !okA && !okB:
			return r2.Vec{}, OutsidePicture
		case !(math.Hypot(uneven.X, uneven.Y) <= whole/2 && whole > 0 && whole <= math.MaxFloat64):
			return r2.Vec{}, Uneven
		}
		return way, Seen
	}
	if grid.Across, why = step(g.x); why != Seen {
		return Grid{}, why
	}
	if grid.Down, why = step(g.y); why != Seen {
		return Grid{}, why
	}
	return grid, Seen
}

// pixelPitches are the distances between neighbouring pixels of a wall.
var pixelPitches = valid.Above[unit.Length](0, 100)

// ImagePitch is the wall's pixel pitch in the image of a thin lens, in
// photosites, seen squarely:
//
//	image pitch = pitch f / ((distance − f) photosite)
//
// The lens of focal length f is focused on the wall. The distance is measured
// along the lens's axis from its front principal plane. It must exceed f, and be
// at most 1e6 km. For other places in the picture and for slanting walls use
// View.ImageGrid.
//
// Source: the thin-lens equation.
func ImagePitch(pitch, distance, focalLength, photosite unit.Length) (photosites float64, err error) {
	c := valid.New("wall", ErrInvalid)
	c.Length("pitch", pitch, pixelPitches)
	c.Length("focal length", focalLength, valid.FocalLengths)
	c.Length("photosite", photosite, valid.Pitches)
	distances := valid.Distances
	if valid.FocalLengths.Contains(float64(focalLength)) {
		distances.Min = float64(focalLength)
	}
	c.Length("distance", distance, distances)
	if !c.OK() {
		return 0, c.Err()
	}
	return float64(pitch) * float64(focalLength) / (float64(distance-focalLength) * float64(photosite)), nil
}

// ViewingDistance is the distance from which two neighbouring pixels, seen
// squarely, subtend an angle of acuity:
//
//	distance = pitch / tan(acuity)
//
// From nearer, an eye of that acuity can separate the pixels. One arc minute,
// Degree/60, is the usual acuity of sharp sight (common practice).
//
// Source: the design viewing distance of Recommendation ITU-R BT.500, from memory.
func ViewingDistance(pitch unit.Length, acuity unit.Angle) (unit.Length, error) {
	c := valid.New("wall", ErrInvalid)
	c.Length("pitch", pitch, pixelPitches)
	c.Angle("acuity", acuity, valid.Acuities)
	if !c.OK() {
		return 0, c.Err()
	}
	return pitch / unit.Length(math.Tan(float64(acuity))), nil
}
