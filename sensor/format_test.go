package sensor_test

import (
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor"
	"gonum.org/v1/gonum/unit"
)

const (
	um = unit.Micro * unit.Metre
	mm = unit.Milli * unit.Metre
)

func format(t testing.TB, spec sensor.FormatSpec) sensor.Format {
	t.Helper()
	f, err := sensor.NewFormat(spec)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func window(t testing.TB, spec sensor.WindowSpec) sensor.Window {
	t.Helper()
	w, err := sensor.NewWindow(spec)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func TestFormatReferences(t *testing.T) {
	still := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 8192, Rows: 5461}, Width: 36 * mm, Height: 24 * mm})
	super := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 4096, Rows: 3072}, Width: 24.89 * mm, Height: 18.66 * mm})

	ref.Near(t, "sensor-format-diagonal", still.Diagonal(), 43.2666153056*mm)
	ref.Near(t, "sensor-format-diagonal", super.Diagonal(), 31.1080005786*mm)

	px, _ := still.Pitch()
	ref.Near(t, "sensor-format-pitch", px, 4.39453125*um)
	px, _ = super.Pitch()
	ref.Near(t, "sensor-format-pitch", px, 6.07666015625*um)

	factor, ok := super.CropFactor(still.Size())
	if !ok {
		t.Error("no crop factor")
	}
	ref.Near(t, "sensor-crop-super35", factor, 43.2666153056/31.1080005786)
}

func TestPitchGivesSize(t *testing.T) {
	f := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 8192, Rows: 4096}, Pitch: 4.39453125 * um})
	w, h := f.Size()
	ref.Near(t, "sensor-format-pitch-given", w, 36*mm)
	ref.Near(t, "sensor-format-pitch-given", h, 18*mm)
	px, py := f.Pitch()
	ref.Near(t, "sensor-format-pitch-given", px, 4.39453125*um)
	ref.Near(t, "sensor-format-pitch-given", py, 4.39453125*um)
	if got := f.Raster(); got != (sensor.Raster{Columns: 8192, Rows: 4096}) {
		t.Errorf("raster %v", got)
	}
}

func TestPhotositesNeedNotBeSquare(t *testing.T) {
	f := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 1000, Rows: 1000}, Width: 20 * mm, Height: 10 * mm})
	px, py := f.Pitch()
	near.ULP(t, "pitch x", px, 20*um, 2, "one division")
	near.ULP(t, "pitch y", py, 10*um, 2, "one division")
	nx, ny := f.Nyquist()
	near.ULP(t, "Nyquist x", nx, 25, 4, "three operations")
	near.ULP(t, "Nyquist y", ny, 50, 4, "three operations")
	near.ULP(t, "aspect", f.Aspect(), 2, 1, "one division")
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
			ref.Within(t, "sensor-format-nyquist", difference(axis.nyquist-delta, axis.nyquist+delta), delta)
			if difference(axis.nyquist*0.999-delta, axis.nyquist*0.999+delta) < 0.1 {
				t.Errorf("frequencies also fold about %v", axis.nyquist*0.999)
			}
		}
	}
}

func TestApertures(t *testing.T) {
	for _, tc := range []struct {
		a             sensor.Aperture
		width, height float64 // inches
		ratio         float64 // 0 where the source prints none
	}{
		{sensor.ApertureFull, 0.980, 0.735, 0},
		{sensor.ApertureAcademy, 0.866, 0.630, 1.375},
		{sensor.ApertureAnamorphic, 0.866, 0.732, 0},
		{sensor.ApertureSuper185, 0.945, 0.511, 1.85},
		{sensor.ApertureSuper239, 0.945, 0.394, 2.39},
		{sensor.ApertureProjector137, 0.825, 0.602, 1.375},
		{sensor.ApertureProjector166, 0.825, 0.497, 1.66},
		{sensor.ApertureProjector185, 0.825, 0.446, 1.85},
		{sensor.ApertureProjectorAnamorphic, 0.825, 0.690, 0},
	} {
		w, h := tc.a.Size()
		ref.Near(t, "sensor-aperture-inches", float64(w)/0.0254, tc.width, tc.a)
		ref.Near(t, "sensor-aperture-inches", float64(h)/0.0254, tc.height, tc.a)
		if tc.ratio != 0 {
			f := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 1, Rows: 1}, Width: w, Height: h})
			ref.Near(t, "sensor-format-aspect", f.Aspect(), tc.ratio, tc.a)
		}
	}
	w, h := sensor.ApertureFull.Size()
	ref.Near(t, "sensor-aperture-mm", w, 24.892*mm)
	ref.Near(t, "sensor-aperture-mm", h, 18.669*mm)
	w, h = sensor.ApertureAcademy.Size()
	ref.Near(t, "sensor-aperture-mm", w, 21.9964*mm)
	ref.Near(t, "sensor-aperture-mm", h, 16.002*mm)
	w, _ = sensor.ApertureSuper239.Size()
	_, h = sensor.ApertureSuper185.Size()
	ref.Near(t, "sensor-aperture-super", w, 24.00*mm)
	ref.Near(t, "sensor-aperture-super", h, 12.97*mm)
	w, h = sensor.ApertureStill.Size()
	ref.Near(t, "sensor-aperture-still", w, 36*mm)
	ref.Near(t, "sensor-aperture-still", h, 24*mm)
}

func TestHalfTheWidthIsCropFactorTwo(t *testing.T) {
	whole := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 8192, Rows: 4096}, Width: 36 * mm, Height: 18 * mm})
	part := window(t, sensor.WindowSpec{Of: whole, Raster: sensor.Raster{Columns: 4096, Rows: 2048}}).Format()
	w, h := part.Size()
	ref.Near(t, "sensor-window-size", w, 18*mm)
	ref.Near(t, "sensor-window-size", h, 9*mm)
	factor, ok := part.CropFactor(whole.Size())
	ref.Equal(t, "sensor-crop-factor", ok, true)
	ref.Near(t, "sensor-crop-factor", factor, 2)
	if back, _ := whole.CropFactor(part.Size()); back != 0.5 {
		t.Errorf("the other way round %v, want 0.5", back)
	}
	if own, _ := whole.CropFactor(whole.Size()); own != 1 {
		t.Errorf("against itself %v, want 1", own)
	}
}

func TestWindowPlace(t *testing.T) {
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
		w := window(t, sensor.WindowSpec{Of: whole, Raster: sensor.Raster{Columns: tc.columns, Rows: tc.rows}, Right: tc.right, Down: tc.down})
		column, row := w.Origin()
		ref.Equal(t, "sensor-window-origin", column, tc.column, tc)
		ref.Equal(t, "sensor-window-origin", row, tc.row, tc)
		x, y := w.Centre()
		ref.Near(t, "sensor-window-origin", x, tc.x, tc)
		ref.Near(t, "sensor-window-origin", y, tc.y, tc)
	}
}

// The centre of a window, found through its pixels, is where Centre says.
func TestWindowCentreAgreesWithItsPixels(t *testing.T) {
	whole := format(t, sensor.FormatSpec{Raster: sensor.Raster{Columns: 8193, Rows: 4321}, Width: 37 * mm, Height: 19.5 * mm})
	px, py := whole.Pitch()
	width, height := whole.Size()
	for _, s := range []sensor.WindowSpec{
		{Raster: sensor.Raster{Columns: 4096, Rows: 2160}},
		{Raster: sensor.Raster{Columns: 4097, Rows: 2161}, Right: -11, Down: 17},
		{Raster: sensor.Raster{Columns: 1, Rows: 1}, Right: 4096, Down: -2160},
	} {
		s.Of = whole
		w := window(t, s)
		column, row := w.Origin()
		x, y := w.Centre()
		near.Abs(t, "x", x, px*unit.Length(float64(column)+float64(s.Raster.Columns)/2)-width/2, 1e-17, "rounding at 37 mm")
		near.Abs(t, "y", y, py*unit.Length(float64(row)+float64(s.Raster.Rows)/2)-height/2, 1e-17, "rounding at 20 mm")
		wx, wy := w.Format().Pitch()
		near.ULP(t, "pitch x", wx, px, 3, "two roundings more")
		near.ULP(t, "pitch y", wy, py, 3, "two roundings more")
	}
}

func FuzzWindow(f *testing.F) {
	f.Add(8192, 4320, 4096, 2160, 0, 0)
	f.Add(7, 5, 4, 2, 2, -1)
	f.Add(1<<24, 1, 1, 1, 1<<23, 0)
	f.Add(-1, 0, math.MaxInt, math.MinInt, math.MinInt, math.MaxInt)
	f.Fuzz(func(t *testing.T, c, r, wc, wr, right, down int) {
		whole, err := sensor.NewFormat(sensor.FormatSpec{Raster: sensor.Raster{Columns: c, Rows: r}, Width: 36 * mm, Height: 24 * mm})
		w, werr := sensor.NewWindow(sensor.WindowSpec{Of: whole, Raster: sensor.Raster{Columns: wc, Rows: wr}, Right: right, Down: down})
		if err != nil && werr == nil {
			t.Fatal("a window of no format")
		}
		if werr != nil {
			return
		}
		column, row := w.Origin()
		if column < 0 || row < 0 || column+wc > c || row+wr > r {
			t.Errorf("origin %d, %d of %d × %d leaves %d × %d", column, row, wc, wr, c, r)
		}
		if factor, ok := w.Format().CropFactor(whole.Size()); !ok || !(factor > 1-1e-15) {
			t.Errorf("crop factor %v, %v", factor, ok)
		}
	})
}
