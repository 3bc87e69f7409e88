package projection

import (
	"encoding/json"
	"fmt"
	"math"
	"sort"

	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/root"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/gonum/unit"
)

// TablePoint is one measured point of a lens: the image height at a field angle, in the
// focal lengths of the Camera.
type TablePoint struct {
	Angle  unit.Angle
	Height float64
}

type table struct {
	angles, heights []float64
	// cubics holds, for each step, the coefficients of the height above that of
	// its start in powers of the angle beyond that of its start.
	cubics [][3]float64
}

// NewTable makes the Model of a lens measured at points, with a monotonic cubic between
// each two. The curve passes through every point, its slope is continuous, and it does not
// overshoot. Halving the distance of the points makes its error at least four times
// smaller. Angle inverts the cubics, to 1e-15 rad and a rounding of the height divided by
// the slope.
//
// At least two points are needed besides the origin, which is added if the first point is
// another. Angles, up to 180°, and heights, up to 1e6, must increase from point to point,
// by at least 1e-9 rad and 1e-9. The last point is the largest angle.
//
// The Model marshals to JSON as its points, the origin included. A []TablePoint read from
// that JSON gives the same Model again.
func NewTable(points []TablePoint) (Bounded, error) {
	v := valid.New("projection", ErrInvalid)
	angles, heights := []float64{0}, []float64{0}
	for i, p := range points {
		if i == 0 && p == (TablePoint{}) {
			continue
		}
		last := len(angles) - 1
		angle, height := float64(p.Angle), p.Height
		if !(angle-angles[last] >= 1e-9 && angle <= math.Pi) {
			v.Fault(fmt.Sprintf("angle of point %d", i), quantity.Angle(p.Angle),
				"must be at least 1e-9 rad more than the one before, %s, and at most 180°", quantity.Angle(unit.Angle(angles[last])))
		}
		if !(height-heights[last] >= 1e-9 && height <= 1e6) {
			v.Fault(fmt.Sprintf("height of point %d", i), fmt.Sprint(height),
				"must be at least 1e-9 more than the one before, %v, and at most 1e6", heights[last])
		}
		angles, heights = append(angles, angle), append(heights, height)
	}
	n := len(angles)
	v.Int("number of points besides the origin", n-1, "", 2, math.MaxInt32)
	if !v.OK() {
		return nil, v.Err()
	}
	t := &table{angles: angles, heights: heights, cubics: make([][3]float64, n-1)}
	// Continued as an odd function beyond the axis, the curve has the right slope
	// there.
	var fb interp.FritschButland
	if err := fb.Fit(append([]float64{-angles[1]}, angles...), append([]float64{-heights[1]}, heights...)); err != nil {
		v.Fault("points", "", "must be fitted: %v", err)
		return nil, v.Err()
	}
	for i := range t.cubics {
		h := angles[i+1] - angles[i]
		chord := (heights[i+1] - heights[i]) / h
		from, to := fb.PredictDerivative(angles[i]), fb.PredictDerivative(angles[i+1])
		t.cubics[i] = [3]float64{from, (3*chord - 2*from - to) / h, (from + to - 2*chord) / (h * h)}
	}
	return t, nil
}

// at is the height and the slope d beyond the start of step i.
func (t *table) at(i int, d float64) (height, slope float64) {
	c := &t.cubics[i]
	return d * (c[0] + d*(c[1]+d*c[2])), c[0] + d*(2*c[1]+d*3*c[2])
}

// stepAt is the step whose two points have x between them.
func stepAt(points []float64, x float64) int {
	return max(sort.SearchFloat64s(points[:len(points)-1], x)-1, 0)
}

// contains reports whether θ is in the domain. NaN is not.
func (t *table) contains(theta unit.Angle) bool {
	return theta >= 0 && theta <= t.MaxAngle()
}

func (t *table) MaxAngle() unit.Angle {
	return unit.Angle(t.angles[len(t.angles)-1])
}

func (t *table) Radius(theta unit.Angle) (r float64, ok bool) {
	if !t.contains(theta) {
		return 0, false
	}
	i := stepAt(t.angles, float64(theta))
	if float64(theta) == t.angles[i+1] {
		return t.heights[i+1], true
	}
	r, _ = t.at(i, float64(theta)-t.angles[i])
	return min(t.heights[i]+r, t.heights[i+1]), true
}

func (t *table) Angle(r float64) (theta unit.Angle, ok bool) {
	if !(r >= 0 && r <= t.heights[len(t.heights)-1]) {
		return 0, false
	}
	i := stepAt(t.heights, r)
	if r == t.heights[i+1] {
		return unit.Angle(t.angles[i+1]), true
	}
	h := t.angles[i+1] - t.angles[i]
	r -= t.heights[i]
	d := root.Increasing(func(d float64) (float64, float64) { return t.at(i, d) }, r, 0, h, r/(t.heights[i+1]-t.heights[i])*h)
	return unit.Angle(min(t.angles[i]+d, t.angles[i+1])), true
}

func (t *table) Slope(theta unit.Angle) (slope float64, ok bool) {
	if !t.contains(theta) {
		return 0, false
	}
	i := stepAt(t.angles, float64(theta))
	_, slope = t.at(i, float64(theta)-t.angles[i])
	return max(slope, 0), true
}

// Bounds is exact: between two points the slope is quadratic and its derivative
// linear.
func (t *table) Bounds(lo, hi unit.Angle) (slope, bendLow, bendHigh float64) {
	if !within(t, lo, hi) {
		return unbounded()
	}
	low, high := float64(lo), float64(hi)
	slope, bendLow, bendHigh = math.Inf(1), math.Inf(1), math.Inf(-1)
	for i := stepAt(t.angles, low); i < len(t.cubics) && t.angles[i] <= high; i++ {
		from, to := max(0, low-t.angles[i]), min(high, t.angles[i+1])-t.angles[i]
		c := &t.cubics[i]
		for _, d := range [3]float64{from, to, min(max(-c[1]/(3*c[2]), from), to)} {
			if d-d != 0 {
				continue // a parabola has no extreme
			}
			_, s := t.at(i, d)
			a := 2*c[1] + 6*c[2]*d
			slope, bendLow, bendHigh = min(slope, s), min(bendLow, a), max(bendHigh, a)
		}
	}
	return max(slope, 0), bendLow, bendHigh
}

// MarshalJSON writes the points, the origin included.
func (t *table) MarshalJSON() ([]byte, error) {
	points := make([]TablePoint, len(t.angles))
	for i := range points {
		points[i] = TablePoint{unit.Angle(t.angles[i]), t.heights[i]}
	}
	return json.Marshal(points)
}
