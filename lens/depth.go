package lens

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"strings"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// DepthOfField is the range of distances that is sharp by geometry. If it reaches
// infinity, Far and Total are +Inf; JSON, which has no infinity, holds null for
// both.
type DepthOfField struct {
	Near, Far unit.Length // m in JSON
	Total     unit.Length // Far − Near, to full precision if they are close; m in JSON
}

// depthJSON is a DepthOfField as JSON holds it.
type depthJSON struct {
	Near, Far, Total *unit.Length
}

// MarshalJSON writes the fields under their names, in metres. An infinite length
// becomes null.
func (d DepthOfField) MarshalJSON() ([]byte, error) {
	finite := func(l *unit.Length) *unit.Length {
		if math.IsInf(float64(*l), 1) {
			return nil
		}
		return l
	}
	return json.Marshal(depthJSON{Near: &d.Near, Far: finite(&d.Far), Total: finite(&d.Total)})
}

// UnmarshalJSON reads what MarshalJSON writes. A field that is absent becomes 0.
// An unknown field, and null for Near, are errors, which leave d unchanged.
func (d *DepthOfField) UnmarshalJSON(data []byte) error {
	if string(data) == "null" {
		return nil // as encoding/json asks for
	}
	var near, far, total unit.Length
	j := depthJSON{Near: &near, Far: &far, Total: &total}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	err := dec.Decode(&j)
	fault := ""
	var kind *json.UnmarshalTypeError
	switch {
	case errors.As(err, &kind):
		fault = strings.TrimSpace(kind.Field + " " + kind.Value)
	case err != nil:
		fault = strings.TrimPrefix(err.Error(), "json: ")
	case j.Near == nil:
		fault = "Near null"
	}
	if fault != "" {
		return valid.New("lens", ErrInvalid).Refuse("depth of field in JSON:", fault, "must hold Near, Far and Total as numbers of metres; an infinite Far or Total is null")
	}
	length := func(l *unit.Length) unit.Length {
		if l == nil {
			return unit.Length(math.Inf(1))
		}
		return *l
	}
	*d = DepthOfField{Near: near, Far: length(j.Far), Total: length(j.Total)}
	return nil
}

// Hyperfocal is the nearest focus distance at which infinity is still sharp by
// geometry, without diffraction.
//
//	H = f²/(N c) + f
//
// f is the paraxial focal length and N the f-number of the lens. The circle of
// confusion c is the largest diameter of the blur of a point, on the sensor, that
// still looks sharp: see CircleOfConfusion, or use a number of photosites, like
// 2 * pitch. It is from 1 nm to less than the diameter of the entrance pupil f/N;
// another one is an error.
//
// Source: geometry of the thin lens, after R. Kingslake, Lenses in Photography
// (1951), from memory.
func (l Lens) Hyperfocal(confusion unit.Length) (unit.Length, error) {
	c := l.checker()
	q := l.checkConfusion(c, confusion)
	if !c.OK() {
		return 0, c.Err()
	}
	return unit.Length(l.focal/q + l.focal), nil
}

// DepthOfField is the range of distances that is sharp by geometry, without
// diffraction, if the lens is focused at a distance s.
//
//	near = s (H − f)/(H + s − 2f)
//	far  = s (H − f)/(H − s), +Inf for s ≥ H
//
// H is the hyperfocal distance for the circle of confusion, whose domain is that
// of Hyperfocal. The focus distance s is more than the paraxial focal length f,
// and may be +Inf; another one is an error. The result has near ≤ s ≤ far. A far
// limit beyond about 10^15 s is +Inf.
//
// Source: geometry of the thin lens, after R. Kingslake, Lenses in Photography
// (1951), from memory.
func (l Lens) DepthOfField(focus, confusion unit.Length) (DepthOfField, error) {
	c := l.checker()
	q := l.checkConfusion(c, confusion)
	c.Length("focus distance", focus, valid.Above(l.focal, math.Inf(1)))
	if !c.OK() {
		return DepthOfField{}, c.Err()
	}
	// Reciprocal distances of the limits are symmetric about that of the focus.
	s := float64(focus)
	d := q * vergence(l.focal, s)
	near := math.Min(1/(1/s+d), s)
	far, total := math.Inf(1), math.Inf(1)
	if w := 1/s - d; w > 0x1p-50/s {
		far = math.Max(1/w, s)
		total = 2 * d * near * far
	}
	return DepthOfField{Near: unit.Length(near), Far: unit.Length(far), Total: unit.Length(total)}, nil
}

// FocusBetween is the focus distance s at which everything from near to far is
// sharp by geometry, without diffraction, at the widest aperture, and the f-number
// N of that aperture.
//
//	1/s = (1/near + 1/far)/2
//	N   = f² (far − near)/(c (s − f)(far + near))
//
// f is the paraxial focal length, and near ≤ s ≤ far. The f-number of the lens
// itself plays no part: compare it with N. N may be one that no lens has. If it is
// less than the f-number of the lens, the lens holds more than this range; if it is
// more than the lens stops down to, no focus distance holds all of it.
//
// near is more than the focal length and at most 1e9 m. far is more than near, and
// may be +Inf. The circle of confusion c is from 1 nm to 1 m. Other values are
// errors.
//
// Source: as DepthOfField, solved for s and N.
func (l Lens) FocusBetween(near, far, confusion unit.Length) (focus unit.Length, fNumber float64, err error) {
	c := l.checker()
	c.Length("near limit", near, valid.Above(l.focal, valid.Distances.Max))
	least := l.focal
	if c.OK() {
		least = float64(near)
	}
	c.Length("far limit", far, valid.Above(least, math.Inf(1)))
	c.Length("circle of confusion", confusion, valid.Closed(leastConfusion, 1*unit.Metre))
	if !c.OK() {
		return 0, 0, c.Err()
	}
	n, f := float64(near), float64(far)
	// Rounding may carry the quotient past n or f, if they are close.
	s := math.Min(math.Max(2/(1/n+1/f), n), f)
	fNumber = l.focal / float64(confusion) * (vergence(n, f) / 2 / vergence(l.focal, s))
	return unit.Length(s), fNumber, nil
}

// Blur is the diameter by geometry, on the sensor, of the disc into which a point of
// an object blurs, if the lens is focused at another distance.
//
//	b = (f/N) f |s − d|/(d (s − f))
//
// f is the paraxial focal length, s the focus distance and d the object distance.
// Diffraction is left out. ok is false if s is not more than f, or d not more than
// 0. Both may be +Inf.
//
// Source: as DepthOfField.
func (l Lens) Blur(focus, object unit.Length) (diameter unit.Length, ok bool) {
	s, d := float64(focus), float64(object)
	if !l.focusable(s) || !(d > 0) {
		return 0, false
	}
	b := l.focal / l.fNumber * (vergence(s, d) / vergence(l.focal, s))
	if math.IsInf(b, 1) {
		return 0, false
	}
	return unit.Length(b), true
}

// WorkingFNumber is the f-number of the cone of light that reaches a point of
// the sensor if the lens is focused at a distance s.
//
//	N (1 + |m|) = N s/(s − f)
//
// m is the Magnification at that distance and f the paraxial focal length.
// Exposure and diffraction depend on it. ok is false if s is not more than f; it
// may be +Inf.
//
// Source: OpenStax, University Physics Volume 3 (2016), section 2.4, for m; for a
// lens whose two pupils have the same diameter, common practice.
func (l Lens) WorkingFNumber(focus unit.Length) (n float64, ok bool) {
	s := float64(focus)
	if !l.focusable(s) {
		return 0, false
	}
	return l.fNumber / (l.focal * vergence(l.focal, s)), true
}

// CircleOfConfusion is the diameter, on the sensor, that a viewer sees under an
// angle when the picture is shown enlarged.
//
//	c = 2 D tan(a/2)/M
//
// a is the angle, D the viewing distance, and M the size of the picture as shown
// over its size on the sensor. A sharp eye resolves about one arc-minute (common
// practice). The angle is from more than 1e-9 rad to less than 90°, the distance
// from more than 0 to 1e9 m, and the enlargement from 0.001 to 1e6. Other values
// are errors.
//
// Source: plane geometry.
func CircleOfConfusion(angle unit.Angle, distance unit.Length, enlargement float64) (unit.Length, error) {
	c := valid.New("lens", ErrInvalid)
	c.Angle("angle", angle, valid.Acuities)
	c.Length("viewing distance", distance, valid.Distances)
	c.Number("enlargement", enlargement, "", valid.Closed(1e-3, 1e6))
	if !c.OK() {
		return 0, c.Err()
	}
	return unit.Length(2 * math.Tan(float64(angle)/2) * (float64(distance) / enlargement)), nil
}

// leastConfusion is far below any photosite, and keeps results finite.
const leastConfusion = unit.Nano * unit.Metre

// checker begins the checks of a method that gives an error.
func (l Lens) checker() *valid.Checker {
	c := valid.New("lens", ErrInvalid)
	if l.model == nil {
		c.Fault("lens", "Lens{}", "must come from New")
	}
	return c
}

// checkConfusion gives the circle of confusion in diameters of the entrance
// pupil. A circle as wide as the pupil would call everything sharp; nearly always
// its unit is wrong.
func (l Lens) checkConfusion(c *valid.Checker, confusion unit.Length) float64 {
	pupil := l.focal / l.fNumber
	if c.OK() {
		c.Length("circle of confusion", confusion, valid.Below(float64(leastConfusion), pupil))
	}
	return float64(confusion) / pupil
}

// focusable reports whether a lens can be focused at a distance.
func (l Lens) focusable(s float64) bool { return l.model != nil && s > l.focal }

// vergence is |1/a − 1/b|, to full precision for a near b. Either may be +Inf.
func vergence(a, b float64) float64 {
	lo, hi := math.Min(a, b), math.Max(a, b)
	switch {
	case math.IsInf(lo, 1):
		return 0
	case math.IsInf(hi, 1):
		return 1 / lo
	}
	return (hi - lo) / hi / lo
}
