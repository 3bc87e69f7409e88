package offaxis

import (
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/unit"
)

// FrustumFromFilmBack returns what a film back sees from a pose:
//
//	Left, Right = (ShiftRight ∓ Width/2)·near/FocalLength
//	Bottom, Top = (ShiftUp ∓ Height/2)·near/FocalLength
//
// near must be above 0 and below far. far may be +Inf. Frustum.FilmBack is the
// inverse.
func FrustumFromFilmBack(b projection.FilmBack, near, far unit.Length, pose projection.Pose) (Frustum, error) {
	v := valid.New("offaxis", ErrInvalid)
	v.Add("film back", check(b))
	checkDepths(v, near, far)
	checkPose(v, pose)
	k := near / b.FocalLength
	f := Frustum{
		Left: (b.ShiftRight - b.Width/2) * k, Right: (b.ShiftRight + b.Width/2) * k,
		Bottom: (b.ShiftUp - b.Height/2) * k, Top: (b.ShiftUp + b.Height/2) * k,
		Near: near, Far: far, Pose: pose,
	}
	if v.OK() && !f.isValid() {
		v.Fault("shift", quantity.Length(b.ShiftRight), "must not be so large that the size of the film back is lost in rounding")
	}
	if err := v.Err(); err != nil {
		return Frustum{}, err
	}
	return f, nil
}

// FilmBack is the camera that sees what the frustum sees, on a sensor of a given
// width. It gives the lens shift as lengths. It is the inverse of
// FrustumFromFilmBack:
//
//	FocalLength = Near·s    ShiftRight = (Left + Right)/2·s    ShiftUp = (Bottom + Top)/2·s
//	Height = (Top − Bottom)·s    s = width/(Right − Left)
//
// ok is false if the width, or a length of the result, is outside 1 nm to 1e9 m.
func (f Frustum) FilmBack(width unit.Length) (b projection.FilmBack, ok bool) {
	if !f.isValid() {
		return projection.FilmBack{}, false
	}
	s := width / (f.Right - f.Left)
	b = projection.FilmBack{
		FocalLength: f.Near * s,
		Width:       width, Height: (f.Top - f.Bottom) * s,
		ShiftRight: (f.Left + f.Right) / 2 * s, ShiftUp: (f.Bottom + f.Top) / 2 * s,
	}
	if check(b) != nil {
		return projection.FilmBack{}, false
	}
	return b, true
}

// check returns the faults of a film back, which a camera of it checks.
func check(b projection.FilmBack) error {
	_, err := b.CameraSpec(1, 1, projection.FitStretch, projection.Pose{})
	return err
}

func checkPose(v *valid.Checker, p projection.Pose) {
	geom.CheckPose(v, p.Position, p.Heading, p.Elevation, p.Roll)
}
