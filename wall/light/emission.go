package light

import (
	"fmt"
	"math"
	"sort"

	"example.com/platewright/internal/valid"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Degree is one degree of arc.
const Degree unit.Angle = math.Pi / 180

// EmissionSpec is a measured table of a panel's luminance by angle.
type EmissionSpec struct {
	// Angles from the panel's normal, ascending from −90° to 90° with 0 among them.
	Angles []unit.Angle

	// Horizontal and Vertical are the luminance at each angle over that along the
	// normal, 0 to 10, and 1 at the angle 0. Horizontal angles are positive towards
	// the viewer's right, vertical ones are positive upwards. A table of luminous
	// intensity must be divided by the cosine of the angle first.
	Horizontal, Vertical []float64
}

// Emission is the luminance of a panel by angle, made by NewEmission.
type Emission struct{ angles, across, up []float64 }

// NewEmission makes an Emission from a table.
func NewEmission(spec EmissionSpec) (*Emission, error) {
	c := valid.New("light", ErrInvalid)
	n := len(spec.Angles)
	c.Int("number of angles", n, "", 3, 10000)
	if len(spec.Horizontal) != n || len(spec.Vertical) != n {
		c.Fault("table", fmt.Sprintf("%d angles, %d horizontal and %d vertical values", n, len(spec.Horizontal), len(spec.Vertical)), "must have one of each an angle")
	}
	if !c.OK() {
		return nil, c.Err()
	}
	e := &Emission{}
	zero := false
	for i, a := range spec.Angles {
		c.Angle("angle", a, valid.Closed(-90*Degree, 90*Degree))
		if i > 0 && !(a > spec.Angles[i-1]) {
			c.Fault("angles", fmt.Sprintf("number %d", i), "must ascend")
		}
		for _, v := range []float64{spec.Horizontal[i], spec.Vertical[i]} {
			c.Number("relative luminance", v, "", valid.Closed(0, 10.0))
			if a == 0 && v != 1 {
				c.Fault("relative luminance at 0°", fmt.Sprint(v), "must be 1")
			}
		}
		zero = zero || a == 0
		e.angles = append(e.angles, float64(a))
	}
	if e.angles[0] > -89.999*float64(Degree) || e.angles[n-1] < 89.999*float64(Degree) || !zero {
		c.Fault("angles", fmt.Sprintf("%.4g° to %.4g°", e.angles[0]/float64(Degree), e.angles[n-1]/float64(Degree)), "must reach from −90° to 90° with 0° among them")
	}
	if !c.OK() {
		return nil, c.Err()
	}
	e.across, e.up = append([]float64(nil), spec.Horizontal...), append([]float64(nil), spec.Vertical...)
	return e, nil
}

// toward is the relative luminance along a direction in the panel's own frame: to
// the viewer's right, up, and out of the panel.
func (e *Emission) toward(right, up, out float64) float64 {
	aside := math.Hypot(right, up)
	if aside == 0 {
		return 1
	}
	theta := math.Atan2(aside, out)
	c, s := right/aside, up/aside
	return c*c*e.look(e.across, math.Copysign(theta, right)) + s*s*e.look(e.up, math.Copysign(theta, up))
}

// look interpolates in a table.
func (e *Emission) look(table []float64, angle float64) float64 {
	i := sort.SearchFloat64s(e.angles, angle)
	if i == 0 {
		return table[0]
	}
	if i == len(table) {
		return table[i-1]
	}
	t := (angle - e.angles[i-1]) / (e.angles[i] - e.angles[i-1])
	return table[i-1] + t*(table[i]-table[i-1])
}

// Toward is the luminance that a panel shows to an eye, over the luminance along
// its normal. With θ from the normal and φ from the panel's rows,
//
//	Toward = Horizontal(±θ) cos²φ + Vertical(±θ) sin²φ
//
// The signs are those of the two axes. Along the axes it is the table, linear
// between angles; elsewhere it is an interpolation, not a measurement. at is the
// place on the panel. The ratio of two panels at their joint is the step of
// luminance that this camera sees there. ok is false if the eye is not in front of
// the panel, if the rectangle is none, or for a zero Emission.
func (e *Emission) Toward(panel wall.Rectangle, at, eye r3.Vec) (relative float64, ok bool) {
	p, ok := frame(panel)
	if !ok || e == nil || len(e.angles) == 0 || !near(at) || !near(eye) {
		return 0, false
	}
	v := p.local(r3.Sub(eye, at))
	if !(v.Z > 0) {
		return 0, false
	}
	return e.toward(v.X, -v.Y, v.Z), true
}
