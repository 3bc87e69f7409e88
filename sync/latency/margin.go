package latency

import (
	"math"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// MarginSpec describes a camera that moves before a plane wall, to which it looks square.
type MarginSpec struct {
	Latency unit.Time // 0 s to 60 s

	// Pan and Tilt are turns in a second, Travel and Rise the speeds to the side and up. All
	// four are largest values, at least 0: they are taken to add up. At most 720° and
	// 100 m/s.
	Pan, Tilt    unit.Angle
	Travel, Rise unit.Velocity

	Width, Height unit.Angle // of the view, from edge to edge: more than 0°, less than 180°

	Distance unit.Length // from the camera to the wall: 1 µm to 10⁹ m
	Pitch    unit.Length // of the wall's pixels: 1 µm to 1 m
}

// Margin is by how much the inner picture must be larger than the view, on each side.
type Margin struct {
	PanLate, TiltLate unit.Angle // by which the picture is late

	// Horizontal and Vertical are angles from the camera, to the left and right, and up and
	// down. Columns and Rows are the same in pixels of the wall.
	Horizontal, Vertical unit.Angle
	Columns, Rows        float64
}

// MarginFor returns the margin that a view needs so that it sees none but the inner
// picture, though that is late.
//
//	PanLate = Pan · Latency        TiltLate = Tilt · Latency
//
// The view is turned by these and moved by the ways, and laid on the wall. The margin is
// from the edges of the rectangle before to the corner that has gone farthest. If a corner
// looks past the wall, that is an error.
func MarginFor(spec MarginSpec) (Margin, error) {
	c := newChecker()
	c.Time("latency", spec.Latency, valid.Closed[unit.Time](0, 60))
	turns := valid.Closed(0, 720*Degree)
	c.Angle("pan a second", spec.Pan, turns)
	c.Angle("tilt a second", spec.Tilt, turns)
	speeds := valid.Closed(0.0, 100.0)
	c.Number("travel", float64(spec.Travel), "m/s", speeds)
	c.Number("rise", float64(spec.Rise), "m/s", speeds)
	c.Angle("width", spec.Width, valid.FieldsOfView)
	c.Angle("height", spec.Height, valid.FieldsOfView)
	c.Length("distance", spec.Distance, valid.Closed(unit.Micro*unit.Metre, unit.Length(valid.Distances.Max)))
	c.Length("pitch", spec.Pitch, valid.Closed(unit.Micro*unit.Metre, unit.Metre))
	if !c.OK() {
		return Margin{}, c.Err()
	}
	m := Margin{PanLate: spec.Pan * unit.Angle(spec.Latency), TiltLate: spec.Tilt * unit.Angle(spec.Latency)}
	// Beyond a quarter turn the middle of the view is past the wall.
	if m.PanLate >= 90*Degree || m.TiltLate >= 90*Degree {
		return Margin{}, c.Refuse("latency", quantity.Time(spec.Latency), "the view turns by %s and %s meanwhile: must be less than 90°", quantity.Angle(m.PanLate), quantity.Angle(m.TiltLate))
	}
	// With a pan to the right and a tilt up, the upper right corner goes farthest, both ways.
	across, up := math.Tan(float64(spec.Width)/2), math.Tan(float64(spec.Height)/2)
	d := orient.FromAngles(m.PanLate, m.TiltLate, 0).ToStage(r3.Vec{X: across, Y: up, Z: -1})
	if !(d.Z < -1e-12*math.Hypot(d.X, d.Y)) {
		return Margin{}, c.Refuse("latency", quantity.Time(spec.Latency), "the view turns by %s and %s meanwhile, so that a corner looks past the wall", quantity.Angle(m.PanLate), quantity.Angle(m.TiltLate))
	}
	wait := float64(spec.Latency) / float64(spec.Distance)
	right, top := float64(spec.Travel)*wait-d.X/d.Z, float64(spec.Rise)*wait-d.Y/d.Z // in distances
	m.Horizontal = unit.Angle(math.Atan(right)) - spec.Width/2
	m.Vertical = unit.Angle(math.Atan(top)) - spec.Height/2
	m.Columns = (right - across) * float64(spec.Distance) / float64(spec.Pitch)
	m.Rows = (top - up) * float64(spec.Distance) / float64(spec.Pitch)
	return m, nil
}
