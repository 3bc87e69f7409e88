package lens

import (
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// DepthOfFocus is how far the sensor may be from the image, in front or behind,
// before the blur of a point exceeds the circle of confusion.
//
//	± N c s/(s − f)
//
// N is the f-number, f the paraxial focal length, s the focus distance and c the
// circle of confusion, whose domain is that of Hyperfocal. It is ± N c at infinity.
// Errors of the mount, a tilted sensor and a curved field all come out of it. The
// focus distance is more than f, and may be +Inf; another one is an error.
//
// Source: geometry of the thin lens: the cone of light is as long as the image
// distance and as wide as the pupil.
func (l Lens) DepthOfFocus(focus, confusion unit.Length) (unit.Length, error) {
	c := l.checker()
	q := l.checkConfusion(c, confusion)
	c.Length("focus distance", focus, valid.Above(l.focal, math.Inf(1)))
	if !c.OK() {
		return 0, c.Err()
	}
	return unit.Length(q / vergence(l.focal, float64(focus))), nil
}

// ActualFocus is the distance on which a lens is focused if the sensor is not where
// the mount should hold it.
//
//	f + f²/(f²/(s − f) + e)
//
// s is the focus distance that the lens is set to, f the paraxial focal length, and
// e the error of the flange distance: positive if the sensor is too far behind the
// lens. An error of 10 µm moves the infinity of a lens of 12 mm to 14.4 m.
//
// ok is false if s is not more than f, or e outside −1 m to 1 m. It is also false if
// the sensor is in front of the image of infinity, where no object is sharp; on it,
// the result is +Inf.
//
// Source: thin lens, 1/do + 1/di = 1/f.
func (l Lens) ActualFocus(focus, flangeError unit.Length) (actual unit.Length, ok bool) {
	s, e := float64(focus), float64(flangeError)
	if !l.focusable(s) || !lengthsOfMounts.Contains(e) {
		return 0, false
	}
	x := l.extension(s) + e
	if !(x >= 0) {
		return 0, false
	}
	return unit.Length(l.focal/x*l.focal + l.focal), true
}

// Breathing is the size of the picture of a far scene with the lens focused at one
// distance, over its size with the lens focused at another.
//
//	(to/(to − f))/(from/(from − f))
//
// f is the paraxial focal length. All image heights grow in this proportion, of a
// fisheye too, so that a calibration holds at one focus only. The formula is that of
// a lens that moves as a whole. A lens that focuses by moving a part of itself
// breathes more, less, or the other way: measure it. ok is false if a distance is
// not more than f; both may be +Inf.
//
// Source: thin lens; the image distance is the scale of the image.
func (l Lens) Breathing(from, to unit.Length) (scale float64, ok bool) {
	a, b := float64(from), float64(to)
	if !l.focusable(a) || !l.focusable(b) {
		return 0, false
	}
	return vergence(l.focal, a) / vergence(l.focal, b), true
}

// FocusMark is the distance from the sensor to an object on which the lens is
// focused, as the marks of a lens and a tape from the sensor's plane give it.
//
//	s + p + f²/(s − f)
//
// s is the distance of the object from the entrance pupil, f the paraxial focal
// length, and p how far the entrance pupil is in front of the sensor with the lens
// focused at infinity; it is negative if the pupil is behind the sensor. The last
// term is by how much the lens moves out. FocusFromMark is the inverse.
//
// ok is false if s is less than 2f, where the lens images at life size and marks
// end, or p outside −1 m to 1 m. s may be +Inf.
//
// Source: thin lens that moves as a whole.
func (l Lens) FocusMark(focus, pupil unit.Length) (mark unit.Length, ok bool) {
	s := float64(focus)
	if !l.focusable(s) || !(s >= 2*l.focal) || !lengthsOfMounts.Contains(float64(pupil)) {
		return 0, false
	}
	return focus + pupil + unit.Length(l.extension(s)), true
}

// FocusFromMark is the distance from the entrance pupil to an object, from its
// distance to the plane of the sensor. It is the inverse of FocusMark.
//
//	s = f + (k + √(k² − 4 f²))/2,  k = mark − p − f
//
// p is that of FocusMark. ok is false if p is outside −1 m to 1 m, or the mark less
// than p + 3f, which is nearer than life size. The mark may be +Inf.
//
// Source: as FocusMark.
func (l Lens) FocusFromMark(mark, pupil unit.Length) (focus unit.Length, ok bool) {
	k := float64(mark) - float64(pupil) - l.focal
	if l.model == nil || !lengthsOfMounts.Contains(float64(pupil)) || !(k >= 2*l.focal) {
		return 0, false
	}
	return unit.Length((k+math.Sqrt(k-2*l.focal)*math.Sqrt(k+2*l.focal))/2 + l.focal), true
}

// PlateShift is by how much a flat plate of glass between lens and sensor moves the
// image away from the lens.
//
//	t (1 − 1/n)
//
// t is the thickness of the plate, from more than 0 to 100 mm, and n its refractive
// index, from 1 to 4; other values are errors. The formula is paraxial: it holds for
// rays near the axis. Steep rays are moved further, so a plate also blurs the corners
// of a fast lens that was made without it.
//
// Source: law of refraction at two parallel faces, for small angles.
func PlateShift(thickness unit.Length, index float64) (unit.Length, error) {
	c := valid.New("lens", ErrInvalid)
	c.Length("thickness of the plate", thickness, valid.Above(0, 100*unit.Milli*unit.Metre))
	c.Number("refractive index", index, "", valid.Closed(1.0, 4.0))
	if !c.OK() {
		return 0, c.Err()
	}
	return thickness * unit.Length((index-1)/index), nil
}

// lengthsOfMounts are the lengths between a lens and its sensor.
var lengthsOfMounts = valid.Closed(-1*unit.Metre, 1*unit.Metre)

// extension is by how much the lens moves out from infinity to a focus s.
func (l Lens) extension(s float64) float64 { return l.focal / (s - l.focal) * l.focal }
