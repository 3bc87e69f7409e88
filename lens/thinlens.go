package lens

import (
	"math"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ImageDistance is the distance from a thin lens to the image behind it, for an
// object on the axis.
//
//	1/do + 1/di = 1/f,  di = f do/(do − f)
//
// It is the distance from the lens to the sensor when the lens is focused on the
// object. The object distance is more than the focal length, and may be +Inf.
//
// Source: OpenStax, University Physics Volume 3 (2016), section 2.4.
func ImageDistance(focalLength, object unit.Length) (unit.Length, error) {
	if err := checkObject(focalLength, object); err != nil {
		return 0, err
	}
	if math.IsInf(float64(object), 1) {
		return focalLength, nil
	}
	return focalLength * (object / (object - focalLength)), nil
}

// Magnification is the height of the image over the height of the object, for a
// thin lens that is focused on the object.
//
//	m = −di/do = −f/(do − f)
//
// It is negative because the image is upside down; −1 is life size. It is 0 for
// an object at +Inf. The domain is that of ImageDistance.
//
// Source: as ImageDistance.
func Magnification(focalLength, object unit.Length) (float64, error) {
	if err := checkObject(focalLength, object); err != nil {
		return 0, err
	}
	f, s := float64(focalLength), float64(object)
	return -(f / (s - f)) + 0, nil // no −0
}

func checkObject(focalLength, object unit.Length) error {
	c := valid.New("lens", ErrInvalid)
	c.Length("focal length", focalLength, valid.FocalLengths)
	least := valid.FocalLengths.Min
	if c.OK() {
		least = float64(focalLength)
	}
	c.Length("object distance", object, valid.Above(least, math.Inf(1)))
	return c.Err()
}
