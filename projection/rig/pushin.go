package rig

import (
	"math"

	"example.com/platewright/internal/valid"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// PushIn is how far a plate can be pushed into, in one direction, before the
// centre of a delivered frame asks for more pixels than the plate has.
type PushIn struct {
	// Camera is the one of the highest density in that direction, and Density is
	// it, the Least of Camera.Density, in px per degree.
	Camera  int
	Density float64
	// Across is the narrowest horizontal field of view of the frame that has at
	// least one source pixel per delivered pixel at the frame's centre.
	Across unit.Angle
}

// PushIn is how far the plate can be pushed into at a direction: dir in the
// stage frame, of any length; the delivered frame a rectilinear view of width
// px, 1 to 16777216, with square pixels.
//
// At its centre such a view has F px per radian, F its focal length in px, so
//
//	Across = 2 atan(width / 2F)    F = Density·180/π
//
// Off its centre it asks for more: see PushInFrame. ok is false where no camera
// sees dir, and for wrong inputs.
func (r Rig) PushIn(dir r3.Vec, width int) (p PushIn, ok bool) {
	if width < 1 || width > valid.MaxSide {
		return PushIn{}, false
	}
	if p.Camera, p.Density, ok = r.Best(dir); !ok || !(p.Density > 0) {
		return PushIn{}, false
	}
	p.Across = across(width, p.Density/float64(projection.Degree))
	return p, true
}

// across is the horizontal field of view of a rectilinear view of so many px
// and a focal length in px.
func across(width int, focal float64) unit.Angle {
	return unit.Angle(2 * math.Atan2(float64(width)/2, focal))
}

// EquivalentFocalLength is the focal length at which a lens in front of a format
// of a width sees so much across, rectilinearly:
//
//	width / (2 tan(across/2))
//
// For the Across of a PushIn or that of PushInFrame it is the longest that the
// plate has pixels for. width is 1 µm to 10 m, across more than 0 and less than
// 180°.
func EquivalentFocalLength(width unit.Length, across unit.Angle) (unit.Length, error) {
	v := valid.New("rig", ErrInvalid)
	v.Length("format width", width, valid.Closed[unit.Length](1e-6, 10))
	v.Angle("horizontal field of view", across, valid.FieldsOfView)
	if err := v.Err(); err != nil {
		return 0, err
	}
	return width / 2 / unit.Length(geom.Tan(float64(across)/2)), nil
}

// PushInFrame is the narrowest horizontal field of view of a level rectilinear
// frame of width × height px, 1 to 16777216 each, around a direction, that has
// at least one source pixel per delivered pixel all over, corners included.
//
// Off its axis by α a view of focal length F px has F/cos α px per radian across
// the radius and F/cos²α along it. The answer is the view of the greatest F for
// which the plate's density, the smaller of the two, is at least F/cos²α, to
// 1e-6, at each of 65 × 65 evenly spaced points of the frame, edges, corners and
// centre included. It may not exist (ok is false): a wider view asks for less at
// its centre but for more, at first, in its corners, and a frame of which a point
// is not seen by any camera has none either. It takes some hundred times as long
// as PushIn. For a Model of the caller's own it assumes what Allows does.
//
// Views wider than the narrowest need not be fine: one reaches farther, to where the
// plate is coarser or where no camera sees. Judge tells whether a given view is.
func (r Rig) PushInFrame(dir r3.Vec, width, height int) (narrowest unit.Angle, ok bool) {
	if height < 1 || height > valid.MaxSide {
		return 0, false
	}
	p, ok := r.PushIn(dir, width)
	if !ok {
		return 0, false
	}
	q := newFrame(r, dir, width, height)
	focal := p.Density / float64(projection.Degree)
	// What the points of the view of focal length f allow grows with f, whose frame
	// then shrinks; so going from f to what it allows, from the greatest f there is,
	// ends at the greatest that allows itself.
	for f := focal; ; {
		next := min(f, q.allowed(f, 0, math.Inf(1)))
		if next < focal/1e3 {
			return 0, false
		}
		if next >= f*(1-1e-6) {
			return across(width, next), true
		}
		f = next
	}
}
