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
		{"S-GATE-SMPTE", sensor.GateAcademy, 21.9964 * mm, 16.002 * mm},
		{"S-GATE-SMPTE", sensor.GateAnamorphic, 21.9964 * mm, 18.5928 * mm},
		{"S-GATE-SMPTE", sensor.GateAnamorphicProjector, 20.955 * mm, 17.526 * mm},
		{"S-GATE-SMPTE", sensor.GateProjector166, 20.955 * mm, 12.6238 * mm},
		{"S-GATE-SMPTE", sensor.GateProjector185, 20.955 * mm, 11.3284 * mm},
		{"S-GATE-SUPER35", sensor.GateSuper35Flat, 24.003 * mm, 12.9794 * mm},
		{"S-GATE-SUPER35", sensor.GateSuper35Scope, 24.003 * mm, 10.0076 * mm},
	} {
		w, h := tc.gate.Size()
		ref.Near(t, tc.id, w, tc.width, tc.gate)
		ref.Near(t, tc.id, h, tc.height, tc.gate)
	}
	w, h := (sensor.GateSuper35Scope + 1).Size()
	assert.Zero(t, [2]unit.Length{w, h}, "an unknown gate has a size")
	// The shapes that pictures are shown in.
	for gate, shape := range map[sensor.Gate]float64{
		sensor.GateProjector166: 1.66, sensor.GateProjector185: 1.85, sensor.GateSuper35Flat: 1.85, sensor.GateSuper35Scope: 2.39,
		sensor.GateAnamorphicProjector: 2.39 / 2, sensor.GateAcademy: 1.375,
	} {
		w, h := gate.Size()
		assert.InDelta(t, shape, float64(w/h), 0.01, "%v: sides in thousandths of an inch", gate)
	}
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
			ref.Near(t, "S-CROP-FACTOR", factor.Diagonal, onReference/focalLength, g)
			// The same across, where both are one line high.
			w, _ = f.Size()
			across := view(w, 0, focalLength)
			w, _ = g.Size()
			onReference, ok = root.Find(func(x float64) float64 { return view(w, 0, x) - across }, 1e-3, 1)
			require.True(t, ok)
			ref.Near(t, "S-CROP-FACTOR", factor.Width, onReference/focalLength, g)
			_, h = f.Size()
			down := view(0, h, focalLength)
			_, h = g.Size()
			onReference, ok = root.Find(func(x float64) float64 { return view(0, h, x) - down }, 1e-3, 1)
			require.True(t, ok)
			ref.Near(t, "S-CROP-FACTOR", factor.Height, onReference/focalLength, g)
		}
	}
}

func TestCropOfHalfTheWidthHasFactorTwo(t *testing.T) {
	whole := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 8192, Rows: 4096}, Width: 36 * mm, Height: 18 * mm})
	part := crop(t, sensor.CropSpec{Of: whole, Raster: sensor.Raster{Columns: 4096, Rows: 2048}}).Format()
	for want, ask := range map[float64]func() (sensor.CropFactor, bool){
		2:   func() (sensor.CropFactor, bool) { return part.CropFactor(whole.Size()) },
		0.5: func() (sensor.CropFactor, bool) { return whole.CropFactor(part.Size()) },
		1:   func() (sensor.CropFactor, bool) { return whole.CropFactor(whole.Size()) },
	} {
		factor, ok := ask()
		assert.True(t, ok)
		assert.Equal(t, sensor.CropFactor{Width: want, Height: want, Diagonal: want}, factor)
	}
	_, ok := whole.CropFactor(sensor.Gate(0).Size())
	assert.False(t, ok, "no reference")
	_, ok = whole.CropFactor(36, 24) // metres
	assert.False(t, ok, "mm for m")
	_, ok = whole.CropFactor(36*mm, 24)
	assert.False(t, ok, "mm for m in the height")
}

// Through an equivalent lens far things are the same picture: the angle across, how
// wide a point out of focus becomes in it, and the light on all of it.
func TestEquivalentLensTakesTheSamePicture(t *testing.T) {
	type picture struct{ angle, blur, light float64 }
	take := func(width, focalLength unit.Length, fNumber float64) picture {
		w, f := float64(width), float64(focalLength)
		aperture := f / fNumber
		const focus, point = 1e5, 2e4 // metres
		// A pencil from the aperture to the point is as wide as this at the distance
		// of focus, where the picture is as wide as that.
		pencil := aperture * (focus - point) / point
		field := focus * w / f
		// Every square metre of the scene at that distance sends so much into the aperture.
		return picture{2 * math.Atan(w/2/f), pencil / field, field * field * aperture * aperture}
	}
	still, _ := sensor.GateStill.Size()
	for _, f := range []sensor.Format{sized(t, 24.89*mm, 18.66*mm), sized(t, 9.6*mm, 5.4*mm), sized(t, 54*mm, 25.6*mm)} {
		factor, ok := f.CropFactor(sensor.GateStill.Size())
		require.True(t, ok)
		focal, n, err := factor.Equivalent(18*mm, 2.8)
		require.NoError(t, err)
		width, _ := f.Size()
		a, b := take(width, 18*mm, 2.8), take(still, focal, n)
		ref.Near(t, "S-EQUIVALENT", a.angle/b.angle, 1, f)
		ref.Near(t, "S-EQUIVALENT", a.blur/b.blur, 1, f)
		ref.Near(t, "S-EQUIVALENT", a.light/b.light, 1, f)
	}
	_, _, err := sensor.CropFactor{}.Equivalent(18, 0.1)
	assert.EqualError(t, err, `sensor: crop factor by width 0: must be at least 1e-07 and at most 1e+07
sensor: focal length 18 m: must be at least 100 µm and at most 2 m (a bare number is in metres: is 18 mm meant?)
sensor: f-number 0.1: must be at least 0.5 and at most 1024`)
}

// Modes of reading, photosite by photosite: each sample is the mean of those that it
// is made of. A fine cosine tells over how wide an area that averages.
func TestReadoutBySampling(t *testing.T) {
	const pitch = 1.0 // mm: cycles per mm are cycles per photosite
	for _, tc := range []struct {
		by              sensor.Reduction
		whole, samples  int
		each            int // photosites of a sample along the row
		left            int
		photosites      float64
		wantSampleWidth float64
	}{
		{sensor.Binning, 96, 48, 2, 0, 2, 2}, {sensor.Binning, 97, 32, 3, 1, 3, 3}, {sensor.Binning, 100, 32, 3, 4, 3, 3},
		{sensor.Skipping, 96, 32, 3, 0, 1, 3}, {sensor.Scaling, 96, 32, 3, 0, 3, 3}, {sensor.Scaling, 96, 96, 1, 0, 1, 1},
	} {
		of := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: tc.whole, Rows: 2}, Pitch: mm})
		r := must[sensor.Readout](t)(sensor.NewReadout(sensor.ReadoutSpec{Of: of, By: tc.by, Raster: sensor.Raster{Columns: tc.samples, Rows: 2}}))
		width, _ := r.Format().Size()
		ref.Near(t, "S-READOUT-COUNT", width, unit.Length(tc.whole-tc.left)*mm, tc)
		ref.Near(t, "S-READOUT-COUNT", r.Photosites(), tc.photosites, tc)
		sample, _ := r.Format().Pitch()
		ref.Near(t, "S-READOUT-COUNT", sample, unit.Length(tc.wantSampleWidth)*mm, tc)
		fill, down := r.Fill()
		assert.Equal(t, 1., down, "every row is read")

		// The modulation of the samples, at cycles per sample pitch.
		const phases, cycles = 400, 0.4
		frequency := cycles / float64(sample/mm)
		var most, least float64
		for phase := range phases {
			value, count := 0.0, 0
			for i := range tc.each {
				if tc.by == sensor.Skipping && i > 0 {
					continue
				}
				const parts = 200 // of a photosite
				for j := range parts {
					x := pitch * (float64(i) + (float64(j)+0.5)/parts)
					value += math.Cos(2*math.Pi*(frequency*x+float64(phase)/phases)) / parts
				}
				count++
			}
			value /= float64(count)
			most, least = max(most, value), min(least, value)
		}
		box := math.Sin(math.Pi*fill*cycles) / (math.Pi * fill * cycles)
		ref.Near(t, "S-READOUT-FILL", box, (most-least)/2, tc)
	}

	// Across and down are independent.
	of := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 120, Rows: 60}, Width: 24 * mm, Height: 9 * mm})
	r := must[sensor.Readout](t)(sensor.NewReadout(sensor.ReadoutSpec{Of: of, By: sensor.Skipping, Raster: sensor.Raster{Columns: 60, Rows: 20}}))
	x, y := r.Fill()
	assert.Equal(t, [2]float64{1. / 2, 1. / 3}, [2]float64{x, y})
	px, py := r.Format().Pitch()
	assert.InDelta(t, 0.4, float64(px/mm), 1e-12, "rounding")
	assert.InDelta(t, 0.45, float64(py/mm), 1e-12, "rounding")
	scaled := must[sensor.Readout](t)(sensor.NewReadout(sensor.ReadoutSpec{Of: of, By: sensor.Scaling, Raster: sensor.Raster{Columns: 48, Rows: 40}}))
	assert.InDelta(t, 3.75, scaled.Photosites(), 1e-12, "2.5 across, 1.5 down")
	w, h := scaled.Format().Size()
	assert.InDelta(t, 24, float64(w/mm), 1e-12, "the whole width")
	assert.InDelta(t, 9, float64(h/mm), 1e-12, "the whole height")

	_, err := sensor.NewReadout(sensor.ReadoutSpec{Of: of, Raster: sensor.Raster{Columns: 121}})
	assert.EqualError(t, err, `sensor: reduction Reduction(0): must be binning, skipping or scaling
sensor: columns of samples 121 px: must be at least 1 and at most 120 px
sensor: rows of samples 0 px: must be at least 1 and at most 60 px`)
	_, err = sensor.NewReadout(sensor.ReadoutSpec{By: sensor.Binning, Raster: sensor.Raster{Columns: 1, Rows: 1 << 25}})
	assert.EqualError(t, err, `sensor: format without a raster: must come from NewFormat
sensor: rows of samples 33554432 px: must be at least 1 and at most 16777216 px`)
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
		if factor, ok := c.Format().CropFactor(whole.Size()); !ok || !(factor.Diagonal > 1-1e-15) {
			t.Errorf("crop factor %v, %v", factor, ok)
		}
	})
}
