package projection

import (
	"math"

	"example.com/platewright/internal/orient"
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

// pushInSteps is the number of steps across and down at which a delivered frame
// is held against the plate.
const pushInSteps = 16

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
func (a Array) PushIn(dir r3.Vec, width int) (p PushIn, ok bool) {
	if width < 1 || width > maxSide {
		return PushIn{}, false
	}
	if p.Camera, p.Density, ok = a.Best(dir); !ok || !(p.Density > 0) {
		return PushIn{}, false
	}
	p.Across = across(width, p.Density/float64(Degree))
	return p, true
}

// across is the horizontal field of view of a rectilinear view of so many px
// and a focal length in px.
func across(width int, focal float64) unit.Angle {
	return unit.Angle(2 * math.Atan2(float64(width)/2, focal))
}

// PushInFrame is the narrowest horizontal field of view of a level rectilinear
// frame of width × height px, 1 to 16777216 each, around a direction, that has
// at least one source pixel per delivered pixel all over, corners included.
//
// Off its axis by α a view of focal length F px has F/cos α px per radian across
// the radius and F/cos²α along it. The answer is the view of the greatest F for
// which the plate's density, the smaller of the two, is at least F/cos²α, to
// 1e-6, at each of 17 × 17 points of the frame, edges and corners included. It
// may not exist (ok is false): a wider view asks for less at its centre but for
// more, at first, in its corners, and a frame of which a point is not seen by
// any camera has none either. It takes a thousand times as long as PushIn.
func (a Array) PushInFrame(dir r3.Vec, width, height int) (narrowest unit.Angle, ok bool) {
	if height < 1 || height > maxSide {
		return 0, false
	}
	p, ok := a.PushIn(dir, width)
	if !ok {
		return 0, false
	}
	w, h := float64(width), float64(height)
	focal := p.Density / float64(Degree)
	back := r3.Scale(-1/maxAbs(dir), dir)
	heading, elevation, _ := orient.Axes{Back: back, Right: r3.Vec{X: 1}}.Angles()
	axes := orient.FromAngles(heading, elevation, 0)
	// allowed is the greatest focal length that the points of the view of focal
	// length f allow. It grows with f, whose frame then shrinks; so going from f
	// to what it allows, from the greatest f there is, ends at the greatest that
	// allows itself.
	allowed := func(f float64) float64 {
		least := math.Inf(1)
		for i := range pushInSteps + 1 {
			for j := range pushInSteps + 1 {
				x := w * (float64(i)/pushInSteps - 0.5)
				y := h * (float64(j)/pushInSteps - 0.5)
				_, d, seen := a.Best(axes.ToStage(r3.Vec{X: x, Y: y, Z: -f}))
				if !seen {
					return 0
				}
				least = min(least, d/float64(Degree)*(f*f/(f*f+x*x+y*y)))
			}
		}
		return least
	}
	for f := focal; ; {
		next := min(f, allowed(f))
		if next < focal/1e3 {
			return 0, false
		}
		if next >= f*(1-1e-6) {
			return across(width, next), true
		}
		f = next
	}
}

func maxAbs(v r3.Vec) float64 { return max(math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z)) }
