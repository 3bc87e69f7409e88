package wide

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/root"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("wide: invalid value")

// Point is what a lens does at one field angle.
type Point struct {
	// FieldAngle is the angle between a direction and the axis, to at most 175°.
	FieldAngle unit.Angle
	// ImageHeight is the distance from the axis to the image of that direction, to
	// at most 0.5 m.
	ImageHeight unit.Length
	// Pupil is how far the entrance pupil is in front of the sensor's plane, on the
	// axis: where the ray of this field angle to the middle of the aperture would meet
	// the axis if nothing bent it. It is the no-parallax point for this angle. From
	// −1 m to 1 m.
	Pupil unit.Length
	// Illumination is the illuminance on the sensor over that on the axis, for a scene
	// of uniform luminance at the f-number of the Spec, vignetting included. More than 0,
	// to 10.
	Illumination float64
	// PupilAspect is the width of the entrance pupil towards the axis over its width
	// around the axis, as the field angle sees it. More than 0, to 10. It is 1 on the
	// axis, and about cos θ for a lens whose pupil does not turn towards the light. If it
	// is 0 in all points, the pupil is taken to be round.
	PupilAspect float64
}

// Spec describes a wide-angle lens at one aperture by a table.
type Spec struct {
	// FNumber is the focal length over the diameter of the entrance pupil on the axis,
	// from 0.5 to 1024.
	FNumber float64
	// Points are at least four. The first is on the axis: field angle and image height
	// are 0, illumination and aspect are 1. Field angles and image heights increase from
	// point to point. The last point is the edge of the image.
	Points []Point
}

// Lens is a lens as its table has it. It is immutable, and safe for concurrent use.
// Lenses compare equal if they come from the same New. The methods of the zero Lens
// give zeros, and ok = false or an error.
//
// A Lens is a Model of package lens as well, at unit focal length: Radius, Angle, Slope
// and MaxAngle belong together. The image circle and the view on a format come from
// there:
//
//	thin, err := lens.New(lens.Spec{FocalLength: w.FocalLength(), FNumber: n, Model: w})
type Lens struct {
	*table // nil for the zero Lens
}

type table struct {
	focal, fNumber float64
	angles         []float64 // rad
	heights        []float64 // in focal lengths
	height         curve
	pupil          curve // m
	light, aspect  curve
	// The pupil is between nearest and farthest from the sensor, in m, and walks by at
	// most walk in m per radian.
	nearest, farthest, walk float64
}

// most is the largest field angle of a table. The image of 180° would be a circle.
const most = 175 * math.Pi / 180

// New checks a spec, and copies its points.
//
// Between the points, image height and pupil are the cubic spline that is smooth
// through the points and through their mirror images on the other side of the axis, with
// no break of the third derivative beside the last point. Halving the steps of a smooth
// table makes the error of values 16 times smaller, that of slopes 8 times. It is an error
// if image heights then do not grow everywhere, as where a table is rough: add points, or
// smooth them. Illumination and aspect are monotonic cubics between each two points,
// which never leave the range of the two.
//
// On the two prescriptions of this package, in steps of 5°, the greatest errors are 2e-6
// focal lengths of image height, 2e-4 of slope, 4e-5 focal lengths of pupil, 2e-5 of
// illumination, and 2e-4 of the width of the pupil.
func New(spec Spec) (Lens, error) {
	c := valid.New("wide", ErrInvalid)
	c.Number("f-number", spec.FNumber, "", valid.FNumbers)
	n := len(spec.Points)
	c.Int("number of points", n, "", 4, 1<<16)
	if !c.OK() {
		return Lens{}, c.Err()
	}
	round := true
	for _, p := range spec.Points {
		round = round && p.PupilAspect == 0
	}
	t := &table{fNumber: spec.FNumber, angles: make([]float64, n), heights: make([]float64, n)}
	pupils, lights, aspects := make([]float64, n), make([]float64, n), make([]float64, n)
	factors := valid.Above(0.0, 10.0)
	for i, p := range spec.Points {
		name := func(column string) string { return fmt.Sprintf("%s of point %d", column, i) }
		if round {
			p.PupilAspect = 1
		}
		if i == 0 {
			if axis := (Point{Pupil: p.Pupil, Illumination: 1, PupilAspect: 1}); p != axis {
				c.Fault("point 0", fmt.Sprintf("%+v", p), "must be on the axis: angle and height 0, illumination and aspect 1")
			}
		} else {
			last := spec.Points[i-1]
			if !(p.FieldAngle-last.FieldAngle >= 1e-6 && p.FieldAngle <= most) {
				c.Fault(name("field angle"), quantity.Angle(p.FieldAngle), "must be more than that of the point before, %s, and at most 175°", quantity.Angle(last.FieldAngle))
			}
			if !(p.ImageHeight-last.ImageHeight >= 1e-9 && p.ImageHeight <= 0.5*unit.Metre) {
				c.Fault(name("image height"), quantity.Length(p.ImageHeight), "must be more than that of the point before, %s, and at most 0.5 m", quantity.Length(last.ImageHeight))
			}
		}
		c.Length(name("pupil"), p.Pupil, lengthsOfLenses)
		c.Number(name("illumination"), p.Illumination, "", factors)
		c.Number(name("pupil aspect"), p.PupilAspect, "", factors)
		t.angles[i], t.heights[i] = float64(p.FieldAngle), float64(p.ImageHeight)
		pupils[i], lights[i], aspects[i] = float64(p.Pupil), p.Illumination, p.PupilAspect
		if !c.OK() {
			return Lens{}, c.Err() // the faults of one point of a long table are enough
		}
	}
	fit := func(column string, f interp.FittablePredictor, y []float64, sign float64) curve {
		fitted, err := newCurve(f, t.angles, y, sign)
		if err != nil {
			c.Fault("column of the table", column, "must be fitted: %v", err)
		}
		return fitted
	}
	t.height = fit("image height", &interp.NotAKnotCubic{}, t.heights, -1)
	t.pupil = fit("pupil", &interp.NotAKnotCubic{}, pupils, 1)
	t.light = fit("illumination", &interp.FritschButland{}, lights, 1)
	t.aspect = fit("pupil aspect", &interp.FritschButland{}, aspects, 1)
	if !c.OK() {
		return Lens{}, c.Err()
	}
	t.nearest, t.farthest = pupils[0], pupils[0]
	for i := range t.height {
		step := t.angles[i+1] - t.angles[i]
		if least, _ := t.height.slopes(i, step); !(least > 0) {
			c.Fault("image heights", fmt.Sprintf("between %s and %s", quantity.Angle(unit.Angle(t.angles[i])), quantity.Angle(unit.Angle(t.angles[i+1]))),
				"must grow everywhere: add points, or smooth them")
		}
		least, most := t.pupil.slopes(i, step)
		t.walk = max(t.walk, -least, most)
		// Between two points the pupil cannot go further than this from both.
		slack := math.Max(-least, most) * step / 2
		t.nearest = min(t.nearest, pupils[i]-slack, pupils[i+1]-slack)
		t.farthest = max(t.farthest, pupils[i]+slack, pupils[i+1]+slack)
	}
	t.focal = t.height[0][1]
	c.Length("focal length, which is the slope of the image heights on the axis", unit.Length(t.focal), valid.FocalLengths)
	if !c.OK() {
		return Lens{}, c.Err()
	}
	for i := range t.height {
		t.heights[i+1] /= t.focal
		for k := range t.height[i] {
			t.height[i][k] /= t.focal
		}
	}
	return Lens{t}, nil
}

// lengthsOfLenses are where pupils may be, from the sensor.
var lengthsOfLenses = valid.Closed(-1*unit.Metre, 1*unit.Metre)

// FocalLength is the slope of the image height on the axis, per radian.
//
// Source: definition.
func (l Lens) FocalLength() unit.Length {
	if l.table == nil {
		return 0
	}
	return unit.Length(l.focal)
}

// MaxAngle is the last field angle of the table. It is 0 for the zero Lens.
func (l Lens) MaxAngle() unit.Angle {
	if l.table == nil {
		return 0
	}
	return unit.Angle(l.angles[len(l.angles)-1])
}

// Radius is the image height at a field angle, in focal lengths. ok is false if the
// angle is negative or beyond the table.
//
// Source: interpolation, see New.
func (l Lens) Radius(theta unit.Angle) (r float64, ok bool) {
	if !l.sees(theta) {
		return 0, false
	}
	r, _ = l.height.at(l.step(theta))
	return math.Min(r, l.heights[len(l.heights)-1]), true
}

// Angle is the field angle at an image height in focal lengths, the inverse of Radius
// to 1e-14 rad. ok is false if the height is negative or beyond the table.
//
// Source: as Radius.
func (l Lens) Angle(r float64) (theta unit.Angle, ok bool) {
	if l.table == nil || !(r >= 0 && r <= l.heights[len(l.heights)-1]) {
		return 0, false
	}
	i := max(sort.SearchFloat64s(l.heights[:len(l.heights)-1], r)-1, 0)
	step := l.angles[i+1] - l.angles[i]
	guess := (r - l.heights[i]) / (l.heights[i+1] - l.heights[i]) * step
	d := root.Increasing(func(d float64) (float64, float64) { return l.height.at(i, d) }, r, 0, step, guess)
	return unit.Angle(math.Min(l.angles[i]+d, l.angles[i+1])), true
}

// Slope is dr/dθ of Radius, per radian. It is 1 on the axis. The domain is that of
// Radius.
//
// Source: as Radius.
func (l Lens) Slope(theta unit.Angle) (slope float64, ok bool) {
	if !l.sees(theta) {
		return 0, false
	}
	_, slope = l.height.at(l.step(theta))
	return slope, true
}

// Pupil is how far the entrance pupil of a field angle is in front of the sensor's
// plane, on the axis. It is the no-parallax point for things at that angle. A fisheye's
// walks by several focal lengths, so no single point is without parallax at all angles.
// ok is false if the angle is negative or beyond the table.
//
// Source: interpolation, see New.
func (l Lens) Pupil(theta unit.Angle) (fromSensor unit.Length, ok bool) {
	if !l.sees(theta) {
		return 0, false
	}
	z, _ := l.pupil.at(l.step(theta))
	return unit.Length(z), true
}

// RelativeIllumination is the illuminance on the sensor at a field angle over that on
// the axis, for a scene of uniform luminance, as the table has it: at 90° and beyond
// as well, where the formula of package lens ends. What vignetting alone takes is the
// result over that of a second table, of the lens stopped down. ok is false if the angle
// is negative or beyond the table.
//
// Source: interpolation, see New.
func (l Lens) RelativeIllumination(theta unit.Angle) (fraction float64, ok bool) {
	if !l.sees(theta) {
		return 0, false
	}
	fraction, _ = l.light.at(l.step(theta))
	return fraction, true
}

// PupilWidths are the widths of the entrance pupil as a field angle sees it, towards the
// axis and around it.
//
//	d √(q a), d √(q/a),  q = E(θ) r r'/sin θ
//
// d is the diameter on the axis, focal length over f-number, E the RelativeIllumination,
// a the PupilAspect, r the Radius and r' the Slope: light that a larger pupil lets in is
// spread over a larger image. ok is false if the angle is negative or beyond the table.
//
// Source: conservation of flux.
func (l Lens) PupilWidths(theta unit.Angle) (radial, tangential unit.Length, ok bool) {
	if !l.sees(theta) {
		return 0, 0, false
	}
	i, d := l.step(theta)
	e, _ := l.light.at(i, d)
	aspect, _ := l.aspect.at(i, d)
	_, slope := l.height.at(i, d)
	area := e * slope * l.spread(theta)
	on := l.focal / l.fNumber
	return unit.Length(on * math.Sqrt(area*aspect)), unit.Length(on * math.Sqrt(area/aspect)), true
}

// spread is r/sin θ: by how much the image of a field angle is drawn out around the
// axis.
func (l Lens) spread(theta unit.Angle) float64 {
	if theta < 1e-9 {
		return 1
	}
	r, _ := l.height.at(l.step(theta))
	return r / math.Sin(float64(theta))
}

// sees reports whether a field angle is in the table. NaN is not.
func (l Lens) sees(theta unit.Angle) bool {
	return l.table != nil && theta >= 0 && theta <= l.MaxAngle()
}

// step is the step of the table that has a field angle, and how far into it.
func (l Lens) step(theta unit.Angle) (i int, d float64) {
	i = max(sort.SearchFloat64s(l.angles[:len(l.angles)-1], float64(theta))-1, 0)
	return i, float64(theta) - l.angles[i]
}

// curve is a piecewise cubic: for each step, the coefficients of the powers of what is
// beyond its start.
type curve [][4]float64

// newCurve fits the spline through points, the first at 0, and through their mirror
// images: with the same sign for an even column, with the other for an odd one.
func newCurve(f interp.FittablePredictor, x, y []float64, sign float64) (curve, error) {
	n := len(x)
	mx, my := make([]float64, 2*n-1), make([]float64, 2*n-1)
	for i := range n {
		mx[n-1-i], my[n-1-i] = -x[i], sign*y[i]
		mx[n-1+i], my[n-1+i] = x[i], y[i]
	}
	if err := f.Fit(mx, my); err != nil {
		return nil, err
	}
	slope := f.(interp.DerivativePredictor).PredictDerivative
	c := make(curve, n-1)
	for i := range c {
		h := x[i+1] - x[i]
		chord := (y[i+1] - y[i]) / h
		from, to := slope(x[i]), slope(x[i+1])
		c[i] = [4]float64{y[i], from, (3*chord - 2*from - to) / h, (from + to - 2*chord) / (h * h)}
	}
	return c, nil
}

// at is the value and the slope d beyond the start of step i.
func (c curve) at(i int, d float64) (value, slope float64) {
	p := &c[i]
	return p[0] + d*(p[1]+d*(p[2]+d*p[3])), p[1] + d*(2*p[2]+d*3*p[3])
}

// slopes are the least and the greatest slope in step i, which is h long.
func (c curve) slopes(i int, h float64) (least, most float64) {
	_, from := c.at(i, 0)
	_, to := c.at(i, h)
	least, most = math.Min(from, to), math.Max(from, to)
	if turn := -c[i][2] / (3 * c[i][3]); turn > 0 && turn < h {
		_, s := c.at(i, turn)
		least, most = math.Min(least, s), math.Max(most, s)
	}
	return least, most
}
