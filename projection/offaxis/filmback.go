package offaxis

import (
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection"
	"gonum.org/v1/gonum/unit"
)

// FrustumFromFilmBack is what a film back sees from a pose, between near, above 0, and far,
// which may be +Inf:
//
//	Left, Right = (ShiftRight ∓ Width/2)·near/FocalLength
//	Bottom, Top = (ShiftUp ∓ Height/2)·near/FocalLength
func FrustumFromFilmBack(b projection.FilmBack, near, far unit.Length, pose projection.Pose) (Frustum, error) {
	v := valid.New("offaxis", ErrInvalid)
	v.Add("film back", check(b, pose))
	checkDepths(v, near, far)
	k := near / b.FocalLength
	f := Frustum{
		Left: (b.ShiftRight - b.Width/2) * k, Right: (b.ShiftRight + b.Width/2) * k,
		Bottom: (b.ShiftUp - b.Height/2) * k, Top: (b.ShiftUp + b.Height/2) * k,
		Near: near, Far: far, Pose: pose,
	}
	if v.OK() && !f.sound() {
		v.Fault("shift", quantity.Length(b.ShiftRight), "must not drown the size of the film back")
	}
	if err := v.Err(); err != nil {
		return Frustum{}, err
	}
	return f, nil
}

// FilmBack is the camera that sees what the frustum does on a sensor of a given
// width, which gives the shift of its lens in length; the inverse of
// FrustumFromFilmBack:
//
//	FocalLength = Near·s    ShiftRight = (Left + Right)/2·s    ShiftUp = (Bottom + Top)/2·s
//	Height = (Top − Bottom)·s    s = width/(Right − Left)
//
// ok is false for a width that is not 1 nm to 1e9 m, and where a length of the
// result is out of the same bounds.
func (f Frustum) FilmBack(width unit.Length) (b projection.FilmBack, ok bool) {
	if !f.sound() {
		return projection.FilmBack{}, false
	}
	s := width / (f.Right - f.Left)
	b = projection.FilmBack{
		FocalLength: f.Near * s,
		Width:       width, Height: (f.Top - f.Bottom) * s,
		ShiftRight: (f.Left + f.Right) / 2 * s, ShiftUp: (f.Bottom + f.Top) / 2 * s,
	}
	if check(b, projection.Pose{}) != nil {
		return projection.FilmBack{}, false
	}
	return b, true
}

// check reports what is wrong with a film back or a pose: a camera of them has
// either checked.
func check(b projection.FilmBack, pose projection.Pose) error {
	_, err := b.CameraSpec(1, 1, projection.FitStretch, pose)
	return err
}
