package projection_test

import (
	"testing"

	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

const (
	deg = projection.Degree
	mm  = unit.Milli * unit.Metre
)

// allCameras are of every kind: each closed form, measured models, a model of the
// caller's own, and distortions.
func allCameras(t testing.TB) map[string]projection.Camera {
	m := map[string]projection.Camera{}
	pose := projection.Pose{Heading: 2, Elevation: -0.4, Roll: 0.3}
	add := func(name string, model projection.Model, d projection.Distortion, limit float64) {
		m[name] = trial.Camera(t, projection.CameraSpec{Model: model, Distortion: d, FocalX: 3000, FocalY: 2900, Width: 9000, Height: 7000, OffsetX: 12, OffsetY: -40, Pose: pose,
			MaxAngle: model.MaxAngle() * unit.Angle(limit)})
	}
	for _, f := range forms {
		add(f.String(), f, nil, 1)
		add(f.String()+" to half its angle", f, nil, 0.5)
		add(f.String()+" distorted", f, shear{-0.01, 0.002, 2}, 1)
	}
	add("own", trial.KannalaBrandt{1, 0.02, -0.01, 0, 0}, nil, 1)
	for name, c := range map[string][]float64{
		"growing":  {1, 0.02, -0.01, 0.001},
		"stopping": {1.2, -0.08, 0.003}, // its radius stops growing at 180° or before
		"measured": {1, -0.0014613319981768, -0.00329861110580401, 0.00605760088590183, -0.00374209380722371},
		"one":      {0.7},
	} {
		p, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: c})
		require.NoError(t, err)
		add("polynomial "+name, p, nil, 1)
		add("polynomial "+name+" distorted", p, shear{-0.01, 0.002, 2}, 0.9)
	}
	for name, s := range map[string]projection.BrownConradySpec{
		"radial":     {K1: -0.2, K2: 0.03},
		"tangential": {K1: -0.26637260909660682, K2: -0.038588898922304653, P1: 0.0017831947042852964, P2: -0.00028122100441115472, K3: 0.23839153080878486},
		"everything": {K1: 0.3, K2: 0.05, K3: 0.001, K4: 0.25, K5: 0.02, K6: 0.002, P1: 0.003, P2: -0.002, S1: 0.001, S2: -0.0003, S3: 0.002, S4: 0.0001},
		"strong":     {K1: -0.3, P1: 0.05, P2: 0.04},
		"nothing":    {},
	} {
		d, err := projection.NewBrownConrady(s)
		require.NoError(t, err)
		add("distortion "+name, projection.Rectilinear, d, 1)
		if name == "tangential" {
			m["distortion in an image circle"] = trial.Camera(t, projection.CameraSpec{Model: projection.Rectilinear, Distortion: d, FocalX: 3000, FocalY: 3100, Width: 9000, Height: 7000,
				OffsetX: 12, OffsetY: -40, Pose: pose, Pitch: 1e-6, ImageCircle: 5e-3, MaxAngle: 0.8})
		}
	}
	return m
}

// column is a column of the nine elements of a matrix by rows.
func column(m []float64, j int) r3.Vec { return r3.Vec{X: m[j], Y: m[3+j], Z: m[6+j]} }

// mapCamera is a camera whose raster is a map of the sphere about a centre, with
// the radius of the sphere in px and the map's origin at (1, 1), y down.
func mapCamera(t testing.TB, f projection.Form, radius, lon, lat float64) projection.Camera {
	return trial.Camera(t, projection.CameraSpec{Model: f, FocalX: radius, FocalY: radius, Width: 2, Height: 2, Pose: trial.Pose(lon, lat, 0)})
}

// maxRadius is the end of a distortion's domain.
func maxRadius(d projection.Distortion) float64 {
	return d.(interface{ MaxRadius() float64 }).MaxRadius()
}
