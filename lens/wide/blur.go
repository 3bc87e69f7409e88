package wide

import (
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Blur is the ellipse into which a point blurs by geometry. Radial is towards the axis of
// the lens, tangential around it.
type Blur struct {
	// On the sensor.
	Radial, Tangential unit.Length
	// In the scene, as angles seen from the entrance pupil.
	RadialAngle, TangentialAngle unit.Angle
}

// Blur is the blur by geometry of a point of an object at a field angle, if the lens is
// focused at another distance there.
//
//	angles      w |1/s − 1/d|
//	on sensor   f r' · radial angle, f r/sin θ · tangential angle
//
// s is the focus distance, d the object distance and w the width of the pupil in that
// direction, by PupilWidths. Both distances are lengths of rays from the entrance pupil
// of this field angle: the lens is taken to be sharp on a sphere about it. Diffraction
// and aberrations are left out, and the pupil is taken to be small against the
// distances. ok is false if the field angle is beyond the table, or a distance is
// not more than the focal length. Both distances may be +Inf.
//
// Source: plane geometry of the cone from the pupil to the point.
func (l Lens) Blur(theta unit.Angle, focus, object unit.Length) (blur Blur, ok bool) {
	radial, tangential, ok := l.PupilWidths(theta)
	if s, d := float64(focus), float64(object); !ok || !(s > l.focal && d > l.focal) {
		return Blur{}, false
	}
	by := unit.Length(math.Abs(vergence(focus) - vergence(object)))
	slope, _ := l.Slope(theta)
	b := Blur{RadialAngle: unit.Angle(radial * by), TangentialAngle: unit.Angle(tangential * by)}
	b.Radial = unit.Length(l.focal * slope * float64(b.RadialAngle))
	b.Tangential = unit.Length(l.focal * l.spread(theta) * float64(b.TangentialAngle))
	return b, true
}

// vergence is 1/d, in 1/m.
func vergence(d unit.Length) float64 { return 1 / float64(d) }

// Wall is where a ray of the lens meets an LED wall.
type Wall struct {
	// Distance is the length of the ray from the entrance pupil to the wall, to 1e9 m.
	Distance unit.Length
	// Pitch is the distance of the wall's pixels, from 10 µm to 1 m.
	Pitch unit.Length
	// Incidence is the angle between the ray and the normal of the wall, less than
	// 89°, for a wall that is tilted towards the axis or away from it. A wall square
	// to the axis has the field angle.
	Incidence unit.Angle
}

// WallBlur is a blur on a wall, in pixels of the wall.
type WallBlur struct {
	Radial, Tangential float64
}

// WallBlur is the blur of a wall by geometry, in pixels of the wall, if the lens is
// focused at a distance s along the ray: over so many pixels of the wall a point of the
// sensor looks.
//
//	w |s − d|/(s p),  over cos i in the radial direction
//
// w is the width of the pupil by PupilWidths, d the distance, p the pitch and i the
// incidence. A field angle beyond the table, a field of Wall outside its range, and a
// focus that is not more than the focal length are errors. The focus may be +Inf.
//
// Source: plane geometry of the cone from the pupil to the focus, cut by the wall.
func (l Lens) WallBlur(theta unit.Angle, focus unit.Length, wall Wall) (WallBlur, error) {
	c := l.checkWall(theta, wall)
	if c.OK() {
		c.Length("focus distance", focus, valid.Above(l.focal, math.Inf(1)))
	}
	if !c.OK() {
		return WallBlur{}, c.Err()
	}
	radial, tangential := l.onWall(theta, wall)
	by := math.Abs(1 - float64(wall.Distance)*vergence(focus))
	return WallBlur{Radial: radial * by, Tangential: tangential * by}, nil
}

// WallFocus is where to focus so that a wall blurs enough.
type WallFocus struct {
	// Near is the distance along the ray from which on, towards the camera, the blur is
	// enough.
	Near unit.Length
	// Beyond is the distance behind the wall from which on the blur is enough. It is 0
	// if there is none, because the pupil is too small.
	Beyond unit.Length
}

// FocusForWallBlur is the focus at which a wall blurs by geometry over at least a number
// n of its pixels in every direction, as to keep its grid from beating with the
// photosites.
//
//	d/(1 + n p/w),  d/(1 − n p/w)
//
// Symbols and domain are those of WallBlur; w is the smaller of the two widths, as they
// are on the wall. The number is more than 0, to 1e6; one that needs a focus nearer than
// the focal length is an error. Diffraction is left out, which only adds blur.
//
// Source: as WallBlur, solved for the focus.
func (l Lens) FocusForWallBlur(theta unit.Angle, wall Wall, pixels float64) (WallFocus, error) {
	c := l.checkWall(theta, wall)
	c.Number("number of pixels", pixels, "", valid.Above(0.0, 1e6))
	if !c.OK() {
		return WallFocus{}, c.Err()
	}
	q := pixels / min(l.onWall(theta, wall))
	w := WallFocus{Near: wall.Distance / unit.Length(1+q)}
	if float64(w.Near) <= l.focal {
		return WallFocus{}, c.Refuse("number of pixels", quantity.Number(pixels, ""), "would need a focus nearer than the focal length, %s", quantity.Length(l.FocalLength()))
	}
	if q < 1 {
		w.Beyond = wall.Distance / unit.Length(1-q)
	}
	return w, nil
}

// onWall are the widths of the pupil in pixels of the wall, cast on it by parallel rays.
func (l Lens) onWall(theta unit.Angle, wall Wall) (radial, tangential float64) {
	r, t, _ := l.PupilWidths(theta)
	return float64(r/wall.Pitch) / math.Cos(float64(wall.Incidence)), float64(t / wall.Pitch)
}

func (l Lens) checkWall(theta unit.Angle, wall Wall) *valid.Checker {
	c := l.checker()
	if c.OK() {
		c.Angle("field angle", theta, valid.Closed(0, l.MaxAngle()))
		c.Length("distance of the wall", wall.Distance, valid.Above(l.focal, valid.Distances.Max))
	}
	c.Length("pitch of the wall", wall.Pitch, valid.Closed(10*unit.Micro*unit.Metre, 1*unit.Metre))
	c.Angle("incidence", wall.Incidence, valid.Below(0, 89*degree))
	return c
}

// checker begins the checks of a method that gives an error.
func (l Lens) checker() *valid.Checker {
	c := valid.New("wide", ErrInvalid)
	if l.table == nil {
		c.Fault("lens", "Lens{}", "must come from New")
	}
	return c
}
