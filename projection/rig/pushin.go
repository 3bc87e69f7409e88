package rig

import (
	"math"

	"example.com/platewright/internal/valid"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// PushIn is the narrowest view that one direction of the plate has pixels for.
type PushIn struct {
	// Camera is the index of the camera with the highest density in that direction.
	// Density is Camera.Density(dir).Least, in px/°.
	Camera  int
	Density float64
	// Across is the narrowest horizontal field of view with at least one source pixel
	// per delivered pixel at the centre of the frame.
	Across unit.Angle
}

// PushIn gives the narrowest view around a direction that has enough pixels at its
// centre. dir is in the stage frame, of any length. The delivered frame is a
// rectilinear view with square pixels, width px wide, 1 to 16777216.
//
// At its centre such a view has F px per radian, F its focal length in px, so
//
//	Across = 2 atan(width / 2F)    F = Density·180/π
//
// Away from its centre the view needs more pixels: see PushInFrame. ok is false if no
// camera sees dir, if dir is zero or not finite, and if width is outside its range.
func (r Rig) PushIn(dir r3.Vec, width int) (p PushIn, ok bool) {
	if width < 1 || width > valid.MaxSide {
		return PushIn{}, false
	}
	if p.Camera, p.Density, ok = r.Best(dir); !ok || !(p.Density > 0) {
		return PushIn{}, false
	}
	p.Across = horizontal(width, p.Density/float64(projection.Degree))
	return p, true
}

// horizontal is the horizontal field of view of a rectilinear view of so many px
// and a focal length in px.
func horizontal(width int, focal float64) unit.Angle {
	return unit.Angle(2 * math.Atan2(float64(width)/2, focal))
}

// EquivalentFocalLength gives the focal length at which a rectilinear lens in front
// of a format of this width has this horizontal field of view:
//
//	width / (2 tan(across/2))
//
// For the Across of a PushIn it is the longest lens that the plate has pixels for.
// A width outside 1 µm to 10 m is an error, and so is a field of view that is not
// more than 0 and less than 180°.
func EquivalentFocalLength(width unit.Length, across unit.Angle) (unit.Length, error) {
	v := valid.New("rig", ErrInvalid)
	v.Length("format width", width, valid.Closed[unit.Length](1e-6, 10))
	v.Angle("horizontal field of view", across, valid.FieldsOfView)
	if err := v.Err(); err != nil {
		return 0, err
	}
	return width / 2 / unit.Length(geom.Tan(float64(across)/2)), nil
}

// PushInFrame gives the narrowest level rectilinear frame around a direction that has
// at least one source pixel per delivered pixel all over, corners included. width and
// height are in px.
//
// At an angle α off its axis a view of focal length F px has F/cos α px per radian
// across the radius and F/cos²α along it. The answer is the view of the greatest F for
// which the density of the plate is at least F/cos²α, to 1e-6, at each of the 65 × 65
// points that Judge takes. It takes some hundred times as long as PushIn. For a user's
// Model it assumes what Allows does.
//
// verdict is that of the narrowest frame: its Dir, X and Y are the point that does
// not allow a narrower one. There may be no such frame: a narrow view has too few
// pixels at its centre, and a wide one at its corners. verdict is then not OK and
// describes the view with the greatest Factor, found to 1e-3 of it. Views from a
// thousandth to a thousand times the focal length of PushIn are compared.
// across is the field of view of that view. verdict is Unseen, and across 0, only if
// part of each of them is unseen.
//
// A view wider than the narrowest may fail: it reaches farther, to where the plate has
// fewer pixels or is unseen. Judge tells. A dir that is zero or not finite and a width
// or height outside 1 to 16777216 px are errors.
func (r Rig) PushInFrame(dir r3.Vec, width, height int) (across unit.Angle, verdict Verdict, err error) {
	v := valid.New("rig", ErrInvalid)
	checkDirection(v, "direction", dir)
	v.Int("frame width", width, "px", 1, valid.MaxSide)
	v.Int("frame height", height, "px", 1, valid.MaxSide)
	if err := v.Err(); err != nil {
		return 0, Verdict{}, err
	}
	p, ok := r.PushIn(dir, width)
	if !ok {
		return 0, Verdict{Limit: Unseen, Camera: -1, Dir: geom.Direction(dir), X: float64(width) / 2, Y: float64(height) / 2}, nil
	}
	q := newFrame(r, dir, width, height)
	focal := p.Density / float64(projection.Degree)
	// The focal length that the points of a view allow grows with that of the view,
	// whose frame then shrinks. So replacing f by what it allows, from the greatest f
	// there is, ends at the greatest f that allows itself.
	for f := focal; f >= focal/1e3; {
		least := q.allowed(f, 0, math.Inf(1))
		next := min(f, least)
		if next >= f*(1-1e-6) {
			return horizontal(width, next), q.verdict(least, f), nil
		}
		f = next
	}
	f, verdict := q.best(focal/1e3, focal*1e3)
	if verdict.Limit == Unseen {
		return 0, verdict, nil
	}
	return horizontal(width, f), verdict, nil
}

// best is the focal length between low and high, and the verdict, of the view with the
// greatest Factor, to 1e-3. Where all views are unseen it is the narrowest.
func (q *frame) best(low, high float64) (focal float64, verdict Verdict) {
	look := func(f float64) (least float64) {
		least = q.allowed(f, 0, math.Inf(1))
		if v := q.verdict(least, f); focal == 0 || v.Factor > verdict.Factor {
			focal, verdict = f, v
		}
		return least
	}
	// A view between a and b has points that allow no more than those of b do, so
	// that its Factor is at most most/a.
	var search func(a, b, most float64)
	search = func(a, b, most float64) {
		if most/a > verdict.Factor*(1+1e-3) {
			f := math.Sqrt(a * b)
			least := look(f)
			search(f, b, most)
			search(a, f, least)
		}
	}
	search(low, high, look(high))
	return focal, verdict
}
