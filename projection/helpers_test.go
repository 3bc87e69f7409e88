package projection_test

import (
	"encoding/csv"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// allCameras are of every kind: each closed form, measured models, a model of the
// caller's own, and distortions.
func allCameras(t testing.TB) map[string]projection.Camera {
	m := map[string]projection.Camera{}
	pose := projection.Pose{Heading: 2, Elevation: -0.4, Roll: 0.3}
	add := func(name string, model projection.Model, d projection.Distortion, limit float64) {
		m[name] = camera(t, projection.CameraSpec{Model: model, Distortion: d, FocalX: 3000, FocalY: 2900, Width: 9000, Height: 7000, OffsetX: 12, OffsetY: -40, Pose: pose,
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
			m["distortion in an image circle"] = camera(t, projection.CameraSpec{Model: projection.Rectilinear, Distortion: d, FocalX: 3000, FocalY: 3100, Width: 9000, Height: 7000,
				OffsetX: 12, OffsetY: -40, Pose: pose, Pitch: 1e-6, ImageCircle: 5e-3, MaxAngle: 0.8})
		}
	}
	return m
}

// must gives the value of a constructor, or ends the test.
func must[T any](t testing.TB) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

// table reads reference data: the numbers of a file, line by line.
func table(t *testing.T, name string) (rows [][]float64) {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "projection", name))
	require.NoError(t, err)
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	for _, record := range records[1:] {
		row := make([]float64, len(record))
		for i, field := range record {
			if row[i], err = strconv.ParseFloat(field, 64); err != nil {
				t.Fatal(err)
			}
		}
		rows = append(rows, row)
	}
	if len(rows) < 200 {
		t.Fatalf("%s has %d rows", name, len(rows))
	}
	return rows
}

func pose(heading, elevation, roll float64) projection.Pose {
	return projection.Pose{Heading: unit.Angle(heading) * deg, Elevation: unit.Angle(elevation) * deg, Roll: unit.Angle(roll) * deg}
}

// columns are the images of the three axes.
func columns(p projection.Pose) [3]r3.Vec {
	return [3]r3.Vec{p.ToStage(r3.Vec{X: 1}), p.ToStage(r3.Vec{Y: 1}), p.ToStage(r3.Vec{Z: 1})}
}

// column is a column of the nine elements of a matrix by rows.
func column(m []float64, j int) r3.Vec { return r3.Vec{X: m[j], Y: m[3+j], Z: m[6+j]} }

const mm = unit.Milli * unit.Metre

func randomVec(rng *rand.Rand, scale float64) r3.Vec {
	return r3.Scale(scale, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
}

func randomPose(rng *rand.Rand) projection.Pose {
	p := pose(rng.Float64()*360-180, rng.Float64()*180-90, rng.Float64()*360-180)
	p.Position = randomVec(rng, 10)
	return p
}

// apart is how far two poses are from each other: metres and rad, added.
func apart(p, q projection.Pose) float64 {
	return r3.Norm(r3.Sub(p.Position, q.Position)) + float64(p.AngleTo(q))
}

// refuses checks that an error wraps the sentinel and names each of some fields.
func refuses(t *testing.T, err error, fields ...string) {
	t.Helper()
	if !errors.Is(err, projection.ErrInvalid) {
		t.Errorf("got %v, want an error about %v", err, fields)
		return
	}
	for _, f := range fields {
		assert.ErrorContains(t, err, f)
	}
}

// toward is the direction of a heading and an elevation in degrees: longitude
// and latitude of a point on the sphere.
func toward(lon, lat float64) r3.Vec {
	return projection.Pose{Heading: unit.Angle(lon) * deg, Elevation: unit.Angle(lat) * deg}.ToStage(r3.Vec{Z: -1})
}

func lonLat(d r3.Vec) (lon, lat float64) {
	return math.Atan2(d.X, -d.Z) / float64(deg), math.Atan2(d.Y, math.Hypot(d.X, d.Z)) / float64(deg)
}

func camera(t testing.TB, spec projection.CameraSpec) projection.Camera {
	t.Helper()
	c, err := projection.NewCamera(spec)
	require.NoError(t, err)
	return c
}

// mapCamera is a camera whose raster is a map of the sphere about a centre, with
// the radius of the sphere in px and the map's origin at (1, 1), y down.
func mapCamera(t testing.TB, f projection.Form, radius, lon, lat float64) projection.Camera {
	return camera(t, projection.CameraSpec{Model: f, FocalX: radius, FocalY: radius, Width: 2, Height: 2,
		Pose: projection.Pose{Heading: unit.Angle(lon) * deg, Elevation: unit.Angle(lat) * deg}})
}

const deg = projection.Degree

// peerRows reads a file of testdata/projection: the columns named, of each row
// the words first, then the numbers.
func peerRows(t testing.TB, name string, words int, columns string) (text [][]string, numbers [][]float64) {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "projection", name))
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	records, err := r.ReadAll()
	require.NoError(t, err)
	if got := strings.Join(records[0], " "); got != columns {
		t.Fatalf("%s has the columns %s, want %s", name, got, columns)
	}
	for _, rec := range records[1:] {
		var row []float64
		for _, field := range rec[words:] {
			v, err := strconv.ParseFloat(field, 64)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			row = append(row, v)
		}
		text, numbers = append(text, rec[:words]), append(numbers, row)
	}
	return text, numbers
}

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// maxRadius is the end of a distortion's domain.
func maxRadius(d projection.Distortion) float64 {
	return d.(interface{ MaxRadius() float64 }).MaxRadius()
}
