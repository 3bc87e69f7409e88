package lens

import (
	"math"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// ImageDistance is how far behind a thin lens the image of an object on its
// axis lies:
//
//	1/do + 1/di = 1/f,  di = f do/(do − f)
//
// Real distances are positive: the object stands in front of the lens, its
// real image behind it. A negative result is a virtual image, in front of the
// lens, on the side of the object. The focal length is negative for a
// diverging lens; its size is from 0.1 mm to 2 m. The object distance is more
// than 0, and may be +Inf. An object at the focal point has its image at +Inf.
//
// Source: OpenStax, University Physics Volume 3 (2016), section 2.4.
func ImageDistance(focalLength, object unit.Length) (unit.Length, error) {
	if err := checkConjugate(focalLength, object); err != nil {
		return 0, err
	}
	return unit.Length(conjugate(float64(focalLength), float64(object))), nil
}

// ObjectDistance is where the object stands whose image lies at a distance
// behind a thin lens:
//
//	do = f di/(di − f)
//
// Signs are those of ImageDistance: a virtual image has a negative distance.
// An image at ±Inf has its object at the focal point, one at the focal point
// its object at +Inf. Images that no real object has are an error: those of a
// converging lens between it and its focal point, and those of a diverging
// lens elsewhere.
//
// Source: as ImageDistance.
func ObjectDistance(focalLength, image unit.Length) (unit.Length, error) {
	c := valid.New("lens", ErrInvalid)
	checkPower(c, focalLength)
	checkImage(c, image)
	if !c.OK() {
		return 0, c.Err()
	}
	object := conjugate(float64(focalLength), float64(image))
	if !(object > 0) {
		c.Fault("image distance", quantity.Length(image), "no real object has its image there with a focal length of %s", quantity.Length(focalLength))
		return 0, c.Err()
	}
	return unit.Length(object), nil
}

// FocalLength is that of the thin lens which images one distance onto another:
//
//	f = do di/(do + di)
//
// Signs are those of ImageDistance; a negative result is a diverging lens. A
// result whose size is not from 0.1 mm to 2 m is an error.
//
// Source: as ImageDistance.
func FocalLength(object, image unit.Length) (unit.Length, error) {
	c := valid.New("lens", ErrInvalid)
	checkObject(c, object)
	checkImage(c, image)
	if !c.OK() {
		return 0, c.Err()
	}
	// 1/f = 1/do − 1/(−di) is the formula of a conjugate, turned round.
	f := unit.Length(conjugate(float64(object), -float64(image)))
	checkPower(c, f)
	if !c.OK() {
		return 0, c.Err()
	}
	return f, nil
}

// Magnification is the height of the image over that of the object, for a
// thin lens:
//
//	m = −di/do = −f/(do − f)
//
// It is negative for an inverted image, which every real image is; −1 is life
// size. It is 0 for an object at +Inf, and −Inf for one at the focal point of
// a converging lens. The domain is that of ImageDistance.
//
// Source: as ImageDistance.
func Magnification(focalLength, object unit.Length) (float64, error) {
	if err := checkConjugate(focalLength, object); err != nil {
		return 0, err
	}
	f, s := float64(focalLength), float64(object)
	// Adding 0 makes −0 plain 0.
	return -(f / (s - f)) + 0, nil
}

// conjugate is 1/(1/f − 1/d), to full precision for d near f.
func conjugate(f, d float64) float64 {
	switch {
	case math.IsInf(d, 0):
		return f
	case math.IsInf(f, 0):
		return -d
	case d == f:
		return math.Inf(1)
	}
	return f * (d / (d - f))
}

func checkConjugate(focalLength, object unit.Length) error {
	c := valid.New("lens", ErrInvalid)
	checkPower(c, focalLength)
	checkObject(c, object)
	return c.Err()
}

func checkPower(c *valid.Checker, f unit.Length) {
	if f < 0 && focalLengths.Contains(-float64(f)) {
		return
	}
	c.Length("focal length", f, focalLengths)
}

func checkObject(c *valid.Checker, object unit.Length) {
	c.Length("object distance", object, valid.Above(0, math.Inf(1)))
}

func checkImage(c *valid.Checker, image unit.Length) {
	if image == 0 || math.IsNaN(float64(image)) {
		c.Fault("image distance", quantity.Length(image), "must be a number other than 0")
	}
}
