// Package trial holds what the tests of projection and of the packages below it share:
// cameras, directions and poses to try, a lens model of a user's own, and what is
// measured of every mapping between directions and a raster.
package trial

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

	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Must gives the value of a constructor, or ends the test.
func Must[T any](t testing.TB) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// Camera is NewCamera of a good spec.
func Camera(t testing.TB, spec projection.CameraSpec) projection.Camera {
	t.Helper()
	return Must[projection.Camera](t)(projection.NewCamera(spec))
}

// Refuses checks that an error wraps a package's sentinel and names each of some fields.
func Refuses(t testing.TB, sentinel, err error, fields ...string) {
	t.Helper()
	if !errors.Is(err, sentinel) {
		t.Errorf("got %v, want an error about %v", err, fields)
		return
	}
	for _, f := range fields {
		if !strings.Contains(err.Error(), f) {
			t.Errorf("%v does not name %s", err, f)
		}
	}
}

// Rows reads a file of testdata/projection with a line of columns and at least 200
// lines of data: of each line the words first, then the numbers. columns are compared
// unless they are "".
func Rows(t testing.TB, name string, words int, columns string) (text [][]string, numbers [][]float64) {
	t.Helper()
	root := Must[string](t)(ref.ModuleRoot())
	f := Must[*os.File](t)(os.Open(filepath.Join(root, "testdata", "projection", name)))
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	records := Must[[][]string](t)(r.ReadAll())
	if got := strings.Join(records[0], " "); columns != "" && got != columns {
		t.Fatalf("%s has the columns %s, want %s", name, got, columns)
	}
	for _, rec := range records[1:] {
		var row []float64
		for _, field := range rec[words:] {
			row = append(row, Must[float64](t)(strconv.ParseFloat(field, 64)))
		}
		text, numbers = append(text, rec[:words]), append(numbers, row)
	}
	if len(numbers) < 200 {
		t.Fatalf("%s has %d rows", name, len(numbers))
	}
	return text, numbers
}

// Pose is a pose at the origin, of angles in degrees.
func Pose(heading, elevation, roll float64) projection.Pose {
	return projection.Pose{Heading: unit.Angle(heading) * projection.Degree, Elevation: unit.Angle(elevation) * projection.Degree, Roll: unit.Angle(roll) * projection.Degree}
}

// Toward is the direction of a heading and an elevation in degrees: longitude and
// latitude of a point on the sphere.
func Toward(lon, lat float64) r3.Vec { return Pose(lon, lat, 0).ToStage(r3.Vec{Z: -1}) }

// LonLat is the inverse of Toward.
func LonLat(d r3.Vec) (lon, lat float64) {
	return math.Atan2(d.X, -d.Z) / float64(projection.Degree), math.Atan2(d.Y, math.Hypot(d.X, d.Z)) / float64(projection.Degree)
}

// Vec is a random vector whose coordinates have a standard deviation.
func Vec(rng *rand.Rand, deviation float64) r3.Vec {
	return r3.Scale(deviation, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
}

// SomePose is a random pose, its position some 10 m away.
func SomePose(rng *rand.Rand) projection.Pose {
	p := Pose(rng.Float64()*360-180, rng.Float64()*180-90, rng.Float64()*360-180)
	p.Position = Vec(rng, 10)
	return p
}

// Columns are the images of the three axes.
func Columns(p projection.Pose) [3]r3.Vec {
	return [3]r3.Vec{p.ToStage(r3.Vec{X: 1}), p.ToStage(r3.Vec{Y: 1}), p.ToStage(r3.Vec{Z: 1})}
}

// Apart is how far two poses are from each other: metres and rad, added.
func Apart(p, q projection.Pose) float64 {
	return r3.Norm(r3.Sub(p.Position, q.Position)) + float64(p.AngleTo(q))
}

// Finite reports whether all values are.
func Finite(values ...float64) bool {
	for _, v := range values {
		if 0*v != 0 {
			return false
		}
	}
	return true
}
