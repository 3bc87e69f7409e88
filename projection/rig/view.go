package rig

import (
	"math"

	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// view is a camera with what bounds are computed from.
type view struct {
	projection.Camera
	model              projection.Model
	form               projection.Form // 0 where model is not a closed form
	right, down, ahead r3.Vec          // the camera's frame, in the stage frame
	position           r3.Vec          // metres
	fx, fy             float64         // focal length in px
	cx, cy             float64         // principal point, px
	width, height      int
	rMax               float64 // largest image height before the distortion, in focal lengths
	thetaMax           float64 // the field angle there

	distortion projection.Distortion // or nil
	circle     float64               // where there is one: the radius of the image circle after it, or +Inf
}

func newView(c projection.Camera) *view {
	s := c.Spec()
	v := &view{
		Camera: c, model: s.Model,
		right: s.Pose.ToStage(r3.Vec{X: 1}), down: s.Pose.ToStage(r3.Vec{Y: -1}), ahead: s.Pose.ToStage(r3.Vec{Z: -1}),
		position: s.Pose.Position,
		fx:       s.FocalX, fy: s.FocalY,
		cx: float64(s.Width)/2 + s.OffsetX, cy: float64(s.Height)/2 + s.OffsetY,
		width: s.Width, height: s.Height,
		thetaMax: float64(s.MaxAngle),
	}
	v.form, _ = s.Model.(projection.Form)
	v.rMax, _ = s.Model.Radius(s.MaxAngle)
	if v.distortion = s.Distortion; v.distortion != nil {
		v.circle = math.Inf(1)
		if s.ImageCircle > 0 {
			v.circle = float64(s.ImageCircle) / 2 / float64(s.Pitch) / math.Sqrt(v.fx*v.fy)
		}
	}
	return v
}

// angle is the field angle at an image height in focal lengths, or the largest.
func (v *view) angle(r float64) float64 {
	if r < v.rMax {
		if theta, ok := v.model.Angle(r); ok {
			return float64(theta)
		}
	}
	return v.thetaMax
}

// toStage turns a vector of the camera's frame, here +X right, +Y down, +Z ahead,
// into the stage frame.
func (v *view) toStage(d r3.Vec) r3.Vec {
	return r3.Vec{
		X: d.X*v.right.X + d.Y*v.down.X + d.Z*v.ahead.X,
		Y: d.X*v.right.Y + d.Y*v.down.Y + d.Z*v.ahead.Y,
		Z: d.X*v.right.Z + d.Y*v.down.Z + d.Z*v.ahead.Z,
	}
}

// look is the margin of a direction in the camera, in px, and its density there;
// margin is −Inf where the lens does not image it.
func (v *view) look(dir r3.Vec) (margin, density float64) {
	x, y, ok := v.Project(dir)
	if !ok {
		return math.Inf(-1), 0
	}
	d, _ := v.Density(dir)
	return v.Margin(x, y), d.Least
}

// radial gives Radius and Slope of the model. Two of the closed forms need no further
// trigonometry.
func (v *view) radial(theta, cos float64) (r, slope float64, ok bool) {
	switch v.form {
	case projection.Equidistant:
		return theta, 1, true
	case projection.Equisolid:
		return math.Sqrt(max(0, 2-2*cos)), math.Sqrt((1 + cos) / 2), true // cos(θ/2)
	}
	r, ok = v.model.Radius(unit.Angle(theta))
	slope, ok2 := v.model.Slope(unit.Angle(theta))
	return r, slope, ok && ok2
}

// least is the least density of a closed form between two field angles, in focal lengths
// per rad. The radial density is monotonic, and the tangential density increases.
func (v *view) least(low, high float64) float64 {
	from, _ := v.form.Slope(unit.Angle(low))
	to, _ := v.form.Slope(unit.Angle(high))
	across := 1.0
	if low > 0 {
		r, _ := v.form.Radius(unit.Angle(low))
		across = r / math.Sin(low)
	}
	return min(from, to, across)
}
