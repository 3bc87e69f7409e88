package projection_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Left out is what searches the sphere, which has hostile tests of its own, and
// the methods without ok of a Pose or Extrinsics that nothing has checked.
func TestHostileArguments(t *testing.T) {
	turned := projection.Pose{Heading: 1, Elevation: -0.3, Roll: 0.2}
	spec := projection.CameraSpec{Model: projection.Equidistant, FocalX: 100, FocalY: 90, Width: 300, Height: 200, Pose: turned}
	c := trial.Camera(t, spec)
	lens := brownConrady(t, projection.BrownConradySpec{K1: -0.3, P1: 0.01})
	bent := trial.Camera(t, projection.CameraSpec{Model: projection.Rectilinear, Distortion: lens, FocalX: 100, FocalY: 100, Width: 300, Height: 200})
	poly := trial.Must[projection.Bounded](t)(projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: []float64{1, -0.05}}))
	points := uneven(t, 3)
	j, _ := c.Jacobian(r3.Vec{Z: -1})
	back := projection.FilmBack{FocalLength: 35 * mm, Width: 36 * mm, Height: 24 * mm}
	usd := trial.Must[projection.USDCamera](t)(back.USD(0.01))
	view := projection.ViewSpec{Width: 100, Height: 50, Across: 1}
	sound := []any{
		turned, spec, c, bent, lens, maxRadius(lens), projection.BrownConradySpec{K1: -0.3, P1: 0.01},
		poly, projection.OddPolynomialSpec{Coefficients: []float64{1, -0.05}}, points,
		projection.Stereographic, projection.FitWhole,
		projection.Model(projection.Orthographic), projection.Distortion(lens),
		[]projection.TablePoint{{Angle: 1, Height: 1}, {Angle: 2, Height: math.NaN()}},
		r3.Vec{X: 1, Y: 2, Z: -3}, r3.Vec{X: math.Inf(1)}, j, back, usd,
		turned.Extrinsics(), turned.Extrinsics().Rows(), view,
		unit.Angle(0.1), 16,
	}
	hostile.Calls(t, sound,
		projection.NewBrownConrady, lens.Distort, lens.Jacobian, lens.Undistort,
		projection.NewCamera, projection.NewView, projection.Camera.Bin, projection.Camera.Crop,
		projection.Camera.Density, projection.Camera.FieldOfView, projection.Camera.Jacobian,
		projection.Camera.Margin, projection.Camera.Project, projection.Camera.ProjectPoint, projection.Camera.Sees, projection.Camera.Scale, projection.Camera.Size, projection.Camera.Spec,
		projection.Camera.Unproject,
		projection.ExtrinsicsFromRows, projection.Extrinsics.Pose, projection.Intrinsics.CameraSpec, projection.Camera.Intrinsics, projection.HeadingElevation,
		projection.FilmBackOf, projection.FilmBack.CameraSpec,
		projection.FilmBack.USD, projection.USDCamera.FilmBack,
		projection.Form.Angle, projection.Form.MaxAngle, projection.Form.Radius, projection.Form.Bounds, projection.Form.Slope, projection.Form.String,
		projection.NewOddPolynomial, poly.Angle, poly.Bounds, poly.Radius, poly.Slope,
		projection.NewTable, points.Angle, points.Bounds, points.Radius, points.Slope,
		projection.Pose.Interpolate,
	)
	// Fewer of what takes four positions or long to answer.
	few := []any{c, bent, r3.Vec{Z: 5}, turned}
	hostile.Calls(t, few, projection.PoseFromAxes)
	hostile.Calls(t, few[:2], projection.Camera.SolidAngle)
}
