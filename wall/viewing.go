package wall

import (
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ViewingDistance is the distance at which two neighbouring pixels subtend an
// angle of acuity, seen straight on:
//
//	distance = pitch / tan(acuity)
//
// Nearer than that, an eye of that acuity can tell the pixels apart. One arc
// minute, Degree/60, is the usual figure of sharp sight (common practice). The
// pitch is more than 0, the acuity between 0 and 90°.
//
// Source: the design viewing distance as Recommendation ITU-R BT.500 defines it.
func ViewingDistance(pitch unit.Length, acuity unit.Angle) (unit.Length, error) {
	c := valid.New("wall", ErrInvalid)
	c.Length("pitch", pitch, valid.Above[unit.Length](0, 1e6))
	checkAcuity(c, acuity)
	if !c.OK() {
		return 0, c.Err()
	}
	return pitch / unit.Length(math.Tan(float64(acuity))), nil
}

// PictureHeights is the viewing distance for an acuity in heights of a picture
// of so many lines:
//
//	heights = 1 / (lines tan(acuity))
//
// There is at least one line; the acuity is between 0 and 90°.
//
// Source: the design viewing distance as Recommendation ITU-R BT.500 defines it.
func PictureHeights(lines int, acuity unit.Angle) (float64, error) {
	c := valid.New("wall", ErrInvalid)
	c.Int("lines", lines, "px", 1, 1<<24)
	checkAcuity(c, acuity)
	if !c.OK() {
		return 0, c.Err()
	}
	return 1 / (float64(lines) * math.Tan(float64(acuity))), nil
}

// AngleAcross is the angle that a flat width subtends from a distance straight
// in front of its middle; DistanceToSpan is its inverse:
//
//	angle = 2 atan(width / (2 distance))
//
// Width and distance are more than 0.
//
// Source: elementary geometry.
func AngleAcross(width, distance unit.Length) (unit.Angle, error) {
	c := valid.New("wall", ErrInvalid)
	c.Length("width", width, valid.Above[unit.Length](0, 1e6))
	c.Length("distance", distance, valid.Above[unit.Length](0, 1e18))
	if !c.OK() {
		return 0, c.Err()
	}
	return unit.Angle(2 * math.Atan2(float64(width), 2*float64(distance))), nil
}

// DistanceToSpan is the distance straight in front of its middle from which a
// flat width subtends an angle; AngleAcross is its inverse:
//
//	distance = width / (2 tan(angle/2))
//
// The width is more than 0, the angle between 0 and 180°.
//
// Source: elementary geometry.
func DistanceToSpan(width unit.Length, angle unit.Angle) (unit.Length, error) {
	c := valid.New("wall", ErrInvalid)
	c.Length("width", width, valid.Above[unit.Length](0, 1e6))
	c.Angle("angle", angle, valid.Between[unit.Angle](smallest, math.Pi))
	if !c.OK() {
		return 0, c.Err()
	}
	return width / unit.Length(2*math.Tan(float64(angle)/2)), nil
}

// smallest is a limit far below any angle that matters, so that no distance
// overflows.
const smallest unit.Angle = 1e-12

func checkAcuity(c *valid.Checker, acuity unit.Angle) {
	c.Angle("acuity", acuity, valid.Between[unit.Angle](smallest, math.Pi/2))
}
