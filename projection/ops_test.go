package projection_test

import (
	"errors"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"example.com/platewright/projection/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// plate is a decentred camera whose pixels are not square, with a limit of each
// kind.
func plate(t testing.TB) projection.Camera {
	return trial.Camera(t, projection.CameraSpec{Model: projection.Equisolid, FocalX: 1500, FocalY: 1530, Width: 6001, Height: 4003, OffsetX: 41.25, OffsetY: -17.5,
		Pitch: 4e-6, ImageCircle: 20e-3, MaxAngle: 2, Pose: projection.Pose{Heading: 0.4, Elevation: -0.1, Roll: 0.05}})
}

// What a picture's pixel shows is the mean of the positions that it is made of:
// of n × m pixels when binned, of the same rectangle when scaled.
func TestRasterOperations(t *testing.T) {
	c := plate(t)
	dir := func(c projection.Camera, x, y float64) r3.Vec {
		d, ok := c.Unproject(x, y)
		require.True(t, ok, "nothing at %v, %v", x, y)
		return d
	}
	must := func(c projection.Camera, err error) projection.Camera {
		t.Helper()
		require.NoError(t, err)
		return c
	}
	check := func(got projection.Camera, x, y float64, d r3.Vec) {
		t.Helper()
		gx, gy, ok := got.Project(d)
		assert.True(t, ok, "not imaged")
		ref.Near(t, "P-O1", gx, x, "x")
		ref.Near(t, "P-O1", gy, y, "y")
		assert.InDelta(t, 0, r3.Norm(r3.Sub(dir(got, x, y), d)), 1e-14, "back: roundings")
	}
	// Binned 3 × 2, the pixel (700, 900) is made of the columns 2100, 2101, 2102
	// and the rows 1800, 1801, whose centres have the mean (2101.5, 1801).
	binned := must(c.Bin(3, 2))
	check(binned, 700.5, 900.5, dir(c, (2100.5+2101.5+2102.5)/3, (1800.5+1801.5)/2))
	if w, h := binned.Size(); w != 2000 || h != 2001 {
		t.Errorf("binned to %d × %d", w, h)
	}
	// Halved, the pixel (700, 900) lies between the columns 1400 and 1401.
	scaled := must(must(c.Crop(0, 0, 6000, 4000)).Scale(3000, 2000))
	check(scaled, 700.5, 900.5, dir(c, 1401, 1801))
	// Doubled, the pixels 0 and 1 are the left and the right half of the first.
	doubled := must(must(c.Crop(1500, 700, 100, 100)).Scale(200, 200))
	check(doubled, 0.5, 1.5, dir(c, 1500.25, 700.75))
	// Cropped, the first pixel is that of the window's corner.
	cropped := must(c.Crop(1500, 700, 100, 200))
	check(cropped, 0.5, 0.5, dir(c, 1500.5, 700.5))
	if w, h := cropped.Size(); w != 100 || h != 200 {
		t.Errorf("cropped to %d × %d", w, h)
	}
	// The corners of a scaled raster are corners, and its middle the middle.
	odd := must(c.Scale(1001, 77))
	for _, e := range [][4]float64{{1001 * 0.75, 77. / 4, 6001 * 0.75, 4003. / 4}, {1001 / 2., 77 / 2., 6001 / 2., 4003 / 2.}} {
		check(odd, e[0], e[1], dir(c, e[2], e[3]))
	}
	a, b, d := c.FieldOfView()
	a2, b2, d2 := odd.FieldOfView()
	assert.InDelta(t, 0, float64(a-a2)+float64(b-b2)+float64(d-d2), 1e-14, "fields: roundings")
}

// Any chain of operations is the product of its maps, and its undoing leads back
// to where it began.
func TestChainsOfRasterOperations(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 8))
	c := plate(t)
	spots := [][2]float64{{1000.5, 1200.25}, {3000, 2000}, {4712.125, 3001.5}}
	for range 300 {
		type step struct {
			undo func(projection.Camera) (projection.Camera, error)
		}
		now, undo := c, []step(nil)
		at := append([][2]float64(nil), spots...)
		scale := [2]float64{1, 1}
		for range 1 + rng.IntN(6) {
			w, h := now.Size()
			var next projection.Camera
			var err error
			switch rng.IntN(3) {
			case 0:
				x, y := rng.IntN(w)-w/2, rng.IntN(h)-h/2
				w2, h2 := 1+rng.IntN(2*w), 1+rng.IntN(2*h)
				next, err = now.Crop(x, y, w2, h2)
				undo = append(undo, step{func(c projection.Camera) (projection.Camera, error) { return c.Crop(-x, -y, w, h) }})
				for i := range at {
					at[i] = [2]float64{at[i][0] - float64(x), at[i][1] - float64(y)}
				}
			case 1:
				w2, h2 := 1+rng.IntN(9000), 1+rng.IntN(9000)
				next, err = now.Scale(w2, h2)
				undo = append(undo, step{func(c projection.Camera) (projection.Camera, error) { return c.Scale(w, h) }})
				for i := range at {
					at[i] = [2]float64{at[i][0] * float64(w2) / float64(w), at[i][1] * float64(h2) / float64(h)}
				}
				scale[0] *= float64(w2) / float64(w)
				scale[1] *= float64(h2) / float64(h)
			case 2:
				n, m := 1+rng.IntN(min(5, w)), 1+rng.IntN(min(5, h))
				next, err = now.Bin(n, m)
				undo = append(undo, step{func(c projection.Camera) (projection.Camera, error) {
					c, err := c.Scale(w/n*n, h/m*m)
					if err != nil {
						return c, err
					}
					return c.Crop(0, 0, w, h)
				}})
				for i := range at {
					at[i] = [2]float64{at[i][0] / float64(n), at[i][1] / float64(m)}
				}
				scale[0] /= float64(n)
				scale[1] /= float64(m)
			}
			require.NoError(t, err)
			now = next
		}
		for i, s := range spots {
			d, _ := c.Unproject(s[0], s[1])
			x, y, ok := now.Project(d)
			assert.True(t, ok, "%v is no longer imaged", s)
			assert.InDelta(t, at[i][0], x, 1e-9*max(1, scale[0]), "x: a billionth of a pixel")
			assert.InDelta(t, at[i][1], y, 1e-9*max(1, scale[1]), "y: a billionth of a pixel")
		}
		for i := len(undo) - 1; i >= 0; i-- {
			var err error
			now, err = undo[i].undo(now)
			require.NoError(t, err)
		}
		if w, h := now.Size(); w != 6001 || h != 4003 {
			t.Errorf("came back as %d × %d", w, h)
		}
		for _, s := range spots {
			d, _ := c.Unproject(s[0], s[1])
			x, y, _ := now.Project(d)
			assert.InDelta(t, s[0], x, 1e-9, "x back: a billionth of a pixel")
			assert.InDelta(t, s[1], y, 1e-9, "y back: a billionth of a pixel")
		}
		// The lens's limits have not moved either: 2500 px of 4 µm, by geometric
		// mean, are 2475.4 px across.
		for _, e := range []struct {
			off  float64
			want bool
		}{{2475, true}, {2476, false}} {
			_, ok := now.Unproject(3041.75+e.off, 1984)
			assert.True(t, ok == e.want, "%v px off the axis: %v", e.off, ok)
		}
	}
}

func TestRasterOperationsRefuse(t *testing.T) {
	c := plate(t)
	tiny := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalX: 1e-18, FocalY: 1e18, Width: 10, Height: 10})
	for want, f := range map[string]func() (projection.Camera, error){
		"camera zero: must come from": func() (projection.Camera, error) { return projection.Camera{}.Bin(1, 1) },
		"camera zero: must  ":         func() (projection.Camera, error) { return projection.Camera{}.Scale(1, 1) },
		"camera zero: must":           func() (projection.Camera, error) { return projection.Camera{}.Crop(0, 0, 1, 1) },
		"left 16777217 px: must be at least -16777216 and at most 16777216 px\nprojection: top": func() (projection.Camera, error) { return c.Crop(1<<24+1, -1<<24-1, 0, 5) },
		"width 0 px: must be at least 1": func() (projection.Camera, error) { return c.Crop(0, 0, 0, 5) },
		"height -3 px":                   func() (projection.Camera, error) { return c.Scale(5, -3) },
		"across 0 px: must be at least 1 and at most 6001 px":              func() (projection.Camera, error) { return c.Bin(0, 1) },
		"down 4004 px: must be at least 1 and at most 4003 px":             func() (projection.Camera, error) { return c.Bin(1, 4004) },
		"across -5 px: must be at least 1":                                 func() (projection.Camera, error) { return c.Bin(-5, 1) },
		"focal x 1e-19 px: must be at least 1e-18 px and at most 1e+18 px": func() (projection.Camera, error) { return tiny.Scale(1, 10) },
	} {
		got, err := f()
		if !errors.Is(err, projection.ErrInvalid) || !strings.Contains(err.Error(), strings.TrimSpace(want)) || got != (projection.Camera{}) {
			t.Errorf("got %v, want %q", err, want)
		} else if strings.HasPrefix(want, "camera zero") && strings.Contains(err.Error(), "\n") {
			t.Errorf("got %v, want one fault", err)
		}
	}
}

// A camera says of itself what it was made of, in one form, also after operations
// on its raster.
func TestSpecs(t *testing.T) {
	const micron = unit.Micro * unit.Metre
	at := trial.Pose(20, -5, 3)
	at.Position = r3.Vec{X: 1, Y: 2, Z: 3}
	c := trial.Camera(t, projection.CameraSpec{Model: projection.Equidistant, FocalLength: 24 * mm, Pitch: 6 * micron, Width: 6000, Height: 4000,
		OffsetX: 12, ImageCircle: 30 * mm, Pose: at})
	// 24 mm are 4000 pixels of 6 µm; 15 mm are 2500 of them, 0.625 focal lengths.
	want := projection.CameraSpec{Model: projection.Equidistant, FocalX: 4000, FocalY: 4000, Pitch: 6 * micron, Width: 6000, Height: 4000,
		OffsetX: 12, ImageCircle: 30 * mm, MaxAngle: 0.625, Pose: at}
	check := func(c projection.Camera, err error) projection.Camera {
		t.Helper()
		require.NoError(t, err)
		got := c.Spec()
		for _, p := range [][2]float64{
			{got.FocalX, want.FocalX}, {got.FocalY, want.FocalY}, {float64(got.Pitch), float64(want.Pitch)},
			{got.OffsetX, want.OffsetX}, {got.OffsetY, want.OffsetY}, {float64(got.MaxAngle), float64(want.MaxAngle)},
		} {
			ref.Near(t, "P-O2", p[0], p[1])
		}
		got.FocalX, got.FocalY, got.Pitch, got.OffsetX, got.OffsetY, got.MaxAngle = want.FocalX, want.FocalY, want.Pitch, want.OffsetX, want.OffsetY, want.MaxAngle
		assert.Equal(t, want, got)
		return c
	}
	check(c, nil)
	// The principal point, at (3012, 2000), comes to (2012, 1500): 1012 and 0 from the middle.
	want.Width, want.Height, want.OffsetX = 2000, 3000, 1012
	c = check(c.Crop(1000, 500, 2000, 3000))
	want.Width, want.Height, want.OffsetX, want.FocalX, want.FocalY, want.Pitch = 1000, 1500, 506, 2000, 2000, 12*micron
	c = check(c.Bin(2, 2))
	// Four times as wide and as high as it is: pixels of 3 by 12 µm, 6 µm in the mean.
	want.Width, want.OffsetX, want.FocalX, want.Pitch = 4000, 2024, 8000, 6*micron
	check(c.Scale(4000, 1500))
	assert.Equal(t, projection.CameraSpec{}, projection.Camera{}.Spec())
}

// NewCamera makes the same camera again.
func TestSpecsMakeTheSameCamera(t *testing.T) {
	rng := rand.New(rand.NewPCG(73, 74))
	for name, c := range allCameras(t) {
		for _, op := range []func() (projection.Camera, error){
			func() (projection.Camera, error) { return c, nil },
			func() (projection.Camera, error) { return c.Crop(-100, 300, 8000, 5000) },
			func() (projection.Camera, error) { return c.Scale(3000, 4000) },
			func() (projection.Camera, error) { return c.Bin(3, 2) },
		} {
			c, err := op()
			require.NoError(t, err, name)
			again := trial.Camera(t, c.Spec())
			w, h := c.Size()
			for range 200 {
				x, y := float64(w)*rng.Float64(), float64(h)*rng.Float64()
				a, okA := c.Unproject(x, y)
				b, okB := again.Unproject(x, y)
				require.True(t, okA == okB && r3.Norm(r3.Sub(a, b)) < 1e-14, "%s: (%v, %v) is at %v or %v", name, x, y, a, b)
				if m, n := c.Margin(x, y), again.Margin(x, y); m != n { // both may be −Inf
					require.InDelta(t, m, n, 1e-8, "%s: px", name)
				}
			}
		}
	}
}
