package projection

import (
	"fmt"
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
)

// maxCameras is the largest array.
const maxCameras = 64

// Array is a set of cameras taken to look out from one point: positions are
// ignored, so what it says holds for things far away against the distances
// between the cameras. A camera sees a direction that it images on its raster,
// inside MaxAngle and the image circle, edges included.
//
// An Array is immutable, small to copy, and safe for concurrent use. The zero
// Array has no camera and sees nothing.
type Array struct{ regions []region }

// NewArray is the array of 1 to 64 cameras, none of them the zero Camera nor one
// with a Distortion. Their indices count in the order given, from 0.
func NewArray(cameras []Camera) (Array, error) {
	v := valid.New("projection", ErrInvalid)
	v.Int("number of cameras", len(cameras), "", 1, maxCameras)
	for i, c := range cameras {
		if c.c == nil {
			v.Fault(fmt.Sprintf("camera %d", i), "zero", "must come from NewCamera or NewView")
		} else if c.c.distortion != nil {
			v.Fault(fmt.Sprintf("camera %d", i), fmt.Sprintf("with distortion %T", c.c.distortion), "must have none: bounds are known for lenses symmetric about their axis; use a Model alone")
		}
	}
	if err := v.Err(); err != nil {
		return Array{}, err
	}
	a := Array{regions: make([]region, len(cameras))}
	for i, c := range cameras {
		a.regions[i] = newRegion(c.c)
	}
	return a, nil
}

// edgeSlack, in px, keeps a direction seen that rounding has moved off an edge.
const edgeSlack = 1e-6

// look is the margin of a direction in a camera and its density there; margin
// is −Inf where the lens does not image it.
func (c *camera) look(dir r3.Vec) (margin, density float64) {
	x, y, ok := Camera{c}.Project(dir)
	if !ok {
		return math.Inf(-1), 0
	}
	d, _ := Camera{c}.Density(dir)
	return Camera{c}.Margin(x, y), d.Least
}

// Count is how many cameras see a direction: dir in the stage frame, of any
// length. For a dir that is zero or not finite it is 0.
func (a Array) Count(dir r3.Vec) int {
	n := 0
	for i := range a.regions {
		if margin, _ := a.regions[i].c.look(dir); margin >= -edgeSlack {
			n++
		}
	}
	return n
}

// Best is the camera that samples a direction most finely: its index and its
// density in px per degree, Density's Least. Of cameras
// that are equal to 1e-9 it is the one with the greatest Margin, then the first.
// ok is false where no camera sees dir, and for a dir that is zero or not
// finite.
func (a Array) Best(dir r3.Vec) (camera int, density float64, ok bool) {
	best := math.Inf(-1) // margin
	for i := range a.regions {
		margin, d := a.regions[i].c.look(dir)
		if margin < -edgeSlack {
			continue
		}
		tie := math.Abs(d-density) <= 1e-9*density
		if !ok || (tie && margin > best) || (!tie && d > density) {
			camera, density, best, ok = i, d, margin, true
		}
	}
	return camera, density, ok
}
