package projection

import (
	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/valid"
	"example.com/platewright/projection/internal/geom"
	"gonum.org/v1/gonum/spatial/r3"
)

// Extrinsics is a Pose as calibrations in computer vision write it: the move
// that takes a point p of the stage into the camera's frame of +X right, +Y
// down, +Z ahead,
//
//	R(Rotation)·p + Translation
//
// It leads from the stage to the camera, whereas the Position and the angles of
// a Pose say where in the stage the camera is. A calibration's own world, such
// as a chart, takes the place of the stage.
//
// The zero Extrinsics is a camera at the origin that looks along the stage's
// +Z, its top towards −Y: a Pose is needed to look along −Z.
type Extrinsics struct {
	Rotation    r3.Vec // along the axis of a right-handed turn, its length the angle in rad
	Translation r3.Vec // metres
}

// Extrinsics is the same pose in the frame of computer vision: with the camera's
// axes in the stage frame as rows,
//
//	R = (right, −up, −back)    Translation = −R·Position
//
// The length of Rotation is at most π. It is NaN where p is not finite.
// Extrinsics.Pose is the inverse.
func (p Pose) Extrinsics() Extrinsics {
	r := transposed(vision(p.axes()))
	return Extrinsics{Rotation: rotationVector(r), Translation: r3.Scale(-1, r.ToStage(p.Position))}
}

// Pose is the pose in the stage frame, the inverse of Pose.Extrinsics. Every
// part must be finite, and Rotation at most 1e6 rad long.
func (e Extrinsics) Pose() (Pose, error) {
	c := valid.New("projection", ErrInvalid)
	c.Number("length of the rotation", r3.Norm(e.Rotation), "rad", valid.Closed(0.0, 1e6))
	geom.CheckVec(c, "translation", e.Translation, "m")
	if err := c.Err(); err != nil {
		return Pose{}, err
	}
	r := transposed(rotation(e.Rotation))
	return poseOf(r3.Scale(-1, r.ToStage(e.Translation)), vision(r)), nil
}

// vision swaps a camera's axes for those it has in computer vision, right, down
// and ahead, and these for its own.
func vision(a orient.Axes) orient.Axes {
	return orient.Axes{Right: a.Right, Up: r3.Scale(-1, a.Up), Back: r3.Scale(-1, a.Back)}
}

// Rows is the same move as the three rows of (R | Translation), which act on
// columns (x, y, z, 1) of the stage. The rows of R are, in the stage frame, the
// camera's right, down and ahead. Their error is 1e-15 and as much again for each
// rad of Rotation, which says nothing where it is longer than the 1e6 rad that
// Extrinsics.Pose takes; they are NaN where it is not finite.
//
// Source: O. Rodrigues' formula for R, as in the documentation of OpenCV 4.6,
// calib3d, Rodrigues.
func (e Extrinsics) Rows() [3][4]float64 {
	r := transposed(rotation(e.Rotation))
	row := func(v r3.Vec, t float64) [4]float64 { return [4]float64{v.X, v.Y, v.Z, t} }
	return [3][4]float64{row(r.Right, e.Translation.X), row(r.Up, e.Translation.Y), row(r.Back, e.Translation.Z)}
}

// ExtrinsicsFromRows is the inverse of Extrinsics.Rows: rows of a rotation and,
// in the last column, the translation in metres. As in PoseFromAxes the rotation
// must be one to 1e-6.
func ExtrinsicsFromRows(rows [3][4]float64) (Extrinsics, error) {
	vec := func(i int) r3.Vec { return r3.Vec{X: rows[i][0], Y: rows[i][1], Z: rows[i][2]} }
	down, ahead := vec(1), vec(2)
	p, err := PoseFromAxes(r3.Vec{}, vec(0), r3.Scale(-1, down), r3.Scale(-1, ahead))
	if err != nil {
		return Extrinsics{}, err
	}
	e := p.Extrinsics()
	e.Translation = r3.Vec{X: rows[0][3], Y: rows[1][3], Z: rows[2][3]}
	c := valid.New("projection", ErrInvalid)
	geom.CheckVec(c, "translation", e.Translation, "m")
	if !c.OK() {
		return Extrinsics{}, c.Err()
	}
	return e, nil
}
