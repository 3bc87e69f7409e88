package panorama_test

import (
	"encoding/csv"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"example.com/platewright/projection"
	"example.com/platewright/projection/panorama"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

const deg = projection.Degree

type mapper interface {
	Size() (width, height int)
	Project(dir r3.Vec) (x, y float64, ok bool)
	Unproject(x, y float64) (dir r3.Vec, ok bool)
}

// must gives the value of a constructor, or ends the test.
func must[T any](t testing.TB) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		require.NoError(t, err)
		return v
	}
}

// cylindricalRows reads longitude and latitude, in degrees, and x and y of a map.
func cylindricalRows(t *testing.T) (rows [][4]float64) {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "projection", "cylindrical.csv"))
	require.NoError(t, err)
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	for _, record := range records[1:] {
		require.Len(t, record, 4)
		var row [4]float64
		for i, field := range record {
			row[i], err = strconv.ParseFloat(field, 64)
			require.NoError(t, err)
		}
		rows = append(rows, row)
	}
	require.GreaterOrEqual(t, len(rows), 200)
	return rows
}

func randomVec(rng *rand.Rand) r3.Vec {
	return r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
}

func randomPose(rng *rand.Rand) projection.Pose {
	return projection.Pose{
		Heading: unit.Angle(rng.Float64()*360-180) * deg, Elevation: unit.Angle(rng.Float64()*180-90) * deg,
		Roll: unit.Angle(rng.Float64()*360-180) * deg, Position: r3.Scale(10, randomVec(rng)),
	}
}

// refuses checks that an error wraps the sentinel and names each of some fields.
func refuses(t *testing.T, err error, fields ...string) {
	t.Helper()
	assert.ErrorIs(t, err, panorama.ErrInvalid)
	for _, f := range fields {
		assert.ErrorContains(t, err, f)
	}
}
