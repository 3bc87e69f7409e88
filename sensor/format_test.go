package sensor_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/root"
	"example.com/platewright/sensor"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

const (
	um = unit.Micro * unit.Metre
	mm = unit.Milli * unit.Metre
)

func format(t testing.TB, spec sensor.FormatSpec) sensor.Format {
	t.Helper()
	f, err := sensor.NewFormat(spec)
	require.NoError(t, err)
	return f
}

func crop(t testing.TB, spec sensor.CropSpec) sensor.Crop {
	t.Helper()
	c, err := sensor.NewCrop(spec)
	require.NoError(t, err)
	return c
}

// sized is a format of a size whose raster does not matter.
func sized(t testing.TB, width, height unit.Length) sensor.Format {
	return format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 3, Rows: 2}, Width: width, Height: height})
}

// The diagonal is the widest that a rectangle gets between two parallel jaws.
func TestDiagonalByCaliper(t *testing.T) {
	for _, size := range [][2]unit.Length{{36 * mm, 24 * mm}, {24.89 * mm, 18.66 * mm}, {5 * mm, 900 * mm}} {
		var widest float64
		const directions = 200000
		for i := range directions {
			sin, cos := math.Sincos(math.Pi / 2 * float64(i) / directions)
			widest = max(widest, float64(size[0])*cos+float64(size[1])*sin)
		}
		ref.Near(t, "S-FORMAT-DIAGONAL", float64(sized(t, size[0], size[1]).Diagonal()), widest, size)
	}
}

// Photosites laid side by side, one pitch each, fill the area.
func TestPitchTimesColumnsIsTheWidth(t *testing.T) {
	for _, spec := range []sensor.FormatSpec{
		{Raster: sensor.Raster{Columns: 8192, Rows: 5461}, Width: 36 * mm, Height: 24 * mm},
		{Raster: sensor.Raster{Columns: 1000, Rows: 1001}, Width: 20 * mm, Height: 10 * mm}, // not square
		{Raster: sensor.Raster{Columns: 8192, Rows: 4096}, Pitch: 4.39453125 * um},          // 36 × 18 mm
	} {
		f := format(t, spec)
		px, py := f.Pitch()
		var x, y unit.Length
		for range spec.Raster.Columns {
			x += px
		}
		for range spec.Raster.Rows {
			y += py
		}
		width, height := f.Size()
		ref.Near(t, "S-FORMAT-PITCH", x, width, spec)
		ref.Near(t, "S-FORMAT-PITCH", y, height, spec)
		if spec.Pitch != 0 {
			near.ULP(t, "pitch x", px, spec.Pitch, 2, "a product and a quotient")
			near.ULP(t, "pitch y", py, spec.Pitch, 2, "a product and a quotient")
			near.ULP(t, "width", width, 36*mm, 2, "rounding of one product")
		}
	}
}

// A cosine δ above the Nyquist frequency gives the samples of one δ below it,
// and of no other frequency between.
func TestNyquistIsWhereFrequenciesFold(t *testing.T) {
	f := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 2000, Rows: 1500}, Width: 9 * mm, Height: 9 * mm})
	px, py := f.Pitch()
	nx, ny := f.Nyquist()
	for _, axis := range []struct {
		pitch   unit.Length
		nyquist float64
	}{{px, nx}, {py, ny}} {
		difference := func(below, above float64) float64 {
			var worst float64
			for i := range 1500 {
				x := float64(axis.pitch/mm) * float64(i)
				d := math.Cos(2*math.Pi*below*x) - math.Cos(2*math.Pi*above*x)
				worst = math.Max(worst, math.Abs(d))
			}
			return worst
		}
		for _, delta := range []float64{0.5, 7, 30} {
			ref.Within(t, "S-FORMAT-NYQUIST", difference(axis.nyquist-delta, axis.nyquist+delta), delta)
			assert.GreaterOrEqual(t, difference(axis.nyquist*0.999-delta, axis.nyquist*0.999+delta), 0.1, "frequencies also fold nearby")
		}
	}
}

func TestGates(t *testing.T) {
	for _, tc := range []struct {
		id            string
		gate          sensor.Gate
		width, height unit.Length
	}{
		{"S-GATE-FULL", sensor.GateFull, 0.980 * 0.0254, 0.735 * 0.0254},
		{"S-GATE-ACADEMY", sensor.GateAcademyProjector, 20.955 * mm, 15.2908 * mm},
		{"S-GATE-STILL", sensor.GateStill, 36 * mm, 24 * mm},
	} {
		w, h := tc.gate.Size()
		ref.Near(t, tc.id, w, tc.width, tc.gate)
		ref.Near(t, tc.id, h, tc.height, tc.gate)
	}
	w, h := (sensor.GateStill + 1).Size()
	assert.Zero(t, [2]unit.Length{w, h}, "an unknown gate has a size")
}

// A lens sees the same angle from corner to corner on the format as one of crop
// factor times its focal length on the reference.
func TestCropFactorByAngleOfView(t *testing.T) {
	// view is the angle between the rays to two opposite corners.
	view := func(width, height unit.Length, focalLength float64) float64 {
		a := r3.Vec{X: float64(width) / 2, Y: float64(height) / 2, Z: focalLength}
		b := r3.Vec{X: -a.X, Y: -a.Y, Z: focalLength}
		return math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b))
	}
	const focalLength = 0.018
	for _, g := range []sensor.Gate{sensor.GateFull, sensor.GateAcademyProjector, sensor.GateStill} {
		for _, f := range []sensor.Format{sized(t, 24.89*mm, 18.66*mm), sized(t, 9.6*mm, 5.4*mm), sized(t, 54*mm, 25.6*mm)} {
			w, h := f.Size()
			angle := view(w, h, focalLength)
			w, h = g.Size()
			onReference, ok := root.Find(func(x float64) float64 { return view(w, h, x) - angle }, 1e-3, 1)
			require.True(t, ok)
			factor, ok := f.CropFactor(g.Size())
			require.True(t, ok)
			ref.Near(t, "S-CROP-FACTOR", factor, onReference/focalLength, g)
		}
	}
}

func TestCropOfHalfTheWidthHasFactorTwo(t *testing.T) {
	whole := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 8192, Rows: 4096}, Width: 36 * mm, Height: 18 * mm})
	part := crop(t, sensor.CropSpec{Of: whole, Raster: sensor.Raster{Columns: 4096, Rows: 2048}}).Format()
	for want, ask := range map[float64]func() (float64, bool){
		2:   func() (float64, bool) { return part.CropFactor(whole.Size()) },
		0.5: func() (float64, bool) { return whole.CropFactor(part.Size()) },
		1:   func() (float64, bool) { return whole.CropFactor(whole.Size()) },
	} {
		factor, ok := ask()
		assert.True(t, ok)
		assert.Equal(t, want, factor)
	}
	_, ok := whole.CropFactor(sensor.Gate(0).Size())
	assert.False(t, ok, "no reference")
	_, ok = whole.CropFactor(36, 24) // metres
	assert.False(t, ok, "mm for m")
	_, ok = whole.CropFactor(36*mm, 24)
	assert.False(t, ok, "mm for m in the height")
}

func TestCropPlace(t *testing.T) {
	whole := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 7, Rows: 5}, Pitch: mm})
	for _, tc := range []struct {
		columns, rows, right, down int
		column, row                int
		x, y                       unit.Length
	}{
		{7, 5, 0, 0, 0, 0, 0, 0},
		{3, 1, 0, 0, 2, 2, 0, 0},
		{4, 2, 0, 0, 1, 1, -0.5 * mm, -0.5 * mm}, // columns 1 to 4 of 0 to 6
		{4, 2, 1, 1, 2, 2, 0.5 * mm, 0.5 * mm},
		{3, 3, 2, -1, 4, 0, 2 * mm, -1 * mm}, // right end, top
		{3, 3, -2, 1, 0, 2, -2 * mm, 1 * mm}, // left end, bottom
		{1, 5, 3, 0, 6, 0, 3 * mm, 0},
	} {
		c := crop(t, sensor.CropSpec{Of: whole, Raster: sensor.Raster{Columns: tc.columns, Rows: tc.rows}, Right: tc.right, Down: tc.down})
		column, row := c.Origin()
		ref.Equal(t, "S-CROP-ORIGIN", column, tc.column, tc)
		ref.Equal(t, "S-CROP-ORIGIN", row, tc.row, tc)
		x, y := c.Centre()
		ref.Near(t, "S-CROP-ORIGIN", x, tc.x, tc)
		ref.Near(t, "S-CROP-ORIGIN", y, tc.y, tc)
		w, h := c.Format().Size()
		ref.Near(t, "S-CROP-SIZE", w, unit.Length(tc.columns)*mm, tc)
		ref.Near(t, "S-CROP-SIZE", h, unit.Length(tc.rows)*mm, tc)
	}
}

// A crop touches both ends of its format, and goes no pixel beyond.
func TestCropEnds(t *testing.T) {
	whole := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 7, Rows: 5}, Pitch: mm})
	for _, side := range []int{1, 2, 3, 4, 5} { // leave even and odd numbers of pixels
		reach := map[int]bool{} // by first column and row
		for by := -8; by <= 8; by++ {
			raster := sensor.Raster{Columns: side, Rows: 5}
			if c, err := sensor.NewCrop(sensor.CropSpec{Of: whole, Raster: raster, Right: by}); err == nil {
				column, _ := c.Origin()
				reach[column] = true
			}
			raster = sensor.Raster{Columns: 7, Rows: side}
			if c, err := sensor.NewCrop(sensor.CropSpec{Of: whole, Raster: raster, Down: by}); err == nil {
				_, row := c.Origin()
				reach[100+row] = true
			}
		}
		want := map[int]bool{}
		for column := range 7 - side + 1 {
			want[column] = true
		}
		for row := range 5 - side + 1 {
			want[100+row] = true
		}
		assert.Equal(t, want, reach, "%d px", side)
	}
}

// The centre of a crop, found through its pixels, is where Centre says.
func TestCropCentreAgreesWithItsPixels(t *testing.T) {
	whole := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 8193, Rows: 4321}, Width: 37 * mm, Height: 19.5 * mm})
	px, py := whole.Pitch()
	width, height := whole.Size()
	for _, s := range []sensor.CropSpec{
		{Raster: sensor.Raster{Columns: 4096, Rows: 2160}},
		{Raster: sensor.Raster{Columns: 4097, Rows: 2161}, Right: -11, Down: 17},
		{Raster: sensor.Raster{Columns: 1, Rows: 1}, Right: 4096, Down: -2160},
	} {
		s.Of = whole
		c := crop(t, s)
		column, row := c.Origin()
		x, y := c.Centre()
		assert.InDelta(t, float64(px)*(float64(column)+float64(s.Raster.Columns)/2)-float64(width)/2, float64(x), 1e-17, "rounding at 37 mm")
		assert.InDelta(t, float64(py)*(float64(row)+float64(s.Raster.Rows)/2)-float64(height)/2, float64(y), 1e-17, "rounding at 20 mm")
		cx, cy := c.Format().Pitch()
		near.ULP(t, "pitch x", cx, px, 3, "two roundings more")
		near.ULP(t, "pitch y", cy, py, 3, "two roundings more")
	}
}

func FuzzCrop(f *testing.F) {
	f.Add(8192, 4320, 4096, 2160, 0, 0)
	f.Add(7, 5, 4, 2, 2, -1)
	f.Add(1<<24, 1, 1, 1, 1<<23, 0)
	f.Add(-1, 0, math.MaxInt, math.MinInt, math.MinInt, math.MaxInt)
	f.Fuzz(func(t *testing.T, columns, rows, cropColumns, cropRows, right, down int) {
		whole, err := sensor.NewFormat(sensor.FormatSpec{Raster: sensor.Raster{Columns: columns, Rows: rows}, Width: 36 * mm, Height: 24 * mm})
		c, cropErr := sensor.NewCrop(sensor.CropSpec{Of: whole, Raster: sensor.Raster{Columns: cropColumns, Rows: cropRows}, Right: right, Down: down})
		if err != nil && cropErr == nil {
			t.Fatal("a crop of no format")
		}
		if cropErr != nil {
			return
		}
		column, row := c.Origin()
		if column < 0 || row < 0 || column+cropColumns > columns || row+cropRows > rows {
			t.Errorf("origin %d, %d of %d × %d leaves %d × %d", column, row, cropColumns, cropRows, columns, rows)
		}
		if factor, ok := c.Format().CropFactor(whole.Size()); !ok || !(factor > 1-1e-15) {
			t.Errorf("crop factor %v, %v", factor, ok)
		}
	})
}
