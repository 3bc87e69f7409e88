package sensor_test

import (
	"encoding/json"
	"fmt"
	"log"

	"example.com/platewright/sensor"
	"gonum.org/v1/gonum/unit"
)

// One of the four cameras on the ferry's wheelhouse roof.
var roofCamera = sensor.FormatSpec{
	Raster: sensor.Raster{Columns: 8192, Rows: 4320},
	Pitch:  4.5 * unit.Micro * unit.Metre,
}

// How large is the sensor, and what is the finest detail it can record?
func ExampleNewFormat() {
	f, err := sensor.NewFormat(roofCamera)
	if err != nil {
		log.Fatal(err)
	}
	w, h := f.Size()
	fmt.Printf("%.3f × %.3f mm, diagonal %.3f mm\n", float64(w/mm), float64(h/mm), float64(f.Diagonal()/mm))
	nyquist, _ := f.Nyquist()
	fmt.Printf("Nyquist %.1f lp/mm\n", nyquist)
	// Output:
	// 36.864 × 19.440 mm, diagonal 41.676 mm
	// Nyquist 111.1 lp/mm
}

// Which lens would take the same picture on film, cut to one shape?
func ExampleCropFactor_Equivalent() {
	f, err := sensor.NewFormat(roofCamera)
	if err != nil {
		log.Fatal(err)
	}
	for _, gate := range []sensor.Gate{sensor.GateStill, sensor.GateFull, sensor.GateSuper35Flat, sensor.GateSuper35Scope, sensor.GateAcademy} {
		factor, _ := f.CropFactor(gate.Size())
		focal, n, err := factor.Equivalent(25*mm, 2.8)
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("%-19v crop factor %.3f by width, %.3f by height, %.3f by diagonal; 25 mm at f/2.8 is %.1f mm at f/%.2f\n",
			gate, factor.Width, factor.Height, factor.Diagonal, float64(focal/mm), n)
	}
	// Output:
	// still gate          crop factor 0.977 by width, 1.235 by height, 1.038 by diagonal; 25 mm at f/2.8 is 24.4 mm at f/2.73
	// full gate           crop factor 0.675 by width, 0.960 by height, 0.747 by diagonal; 25 mm at f/2.8 is 16.9 mm at f/1.89
	// super 35 flat gate  crop factor 0.651 by width, 0.668 by height, 0.655 by diagonal; 25 mm at f/2.8 is 16.3 mm at f/1.82
	// super 35 scope gate crop factor 0.651 by width, 0.515 by height, 0.624 by diagonal; 25 mm at f/2.8 is 16.3 mm at f/1.82
	// academy camera gate crop factor 0.597 by width, 0.823 by height, 0.653 by diagonal; 25 mm at f/2.8 is 14.9 mm at f/1.67
}

// A print of the old ferry is to be matched. What do the projectors show of its negative?
func ExampleGate() {
	camera, _ := sensor.GateAcademy.Size()
	squeezed, _ := sensor.GateAnamorphic.Size()
	for _, gate := range []sensor.Gate{sensor.GateAcademyProjector, sensor.GateProjector166, sensor.GateProjector185} {
		w, h := gate.Size()
		fmt.Printf("%v: %.2f × %.2f mm, %.2f:1, %.0f %% of the width\n", gate, float64(w/mm), float64(h/mm), float64(w/h), 100*float64(w/camera))
	}
	w, h := sensor.GateAnamorphicProjector.Size()
	fmt.Printf("%v: %.2f × %.2f mm, %.2f:1 unsqueezed, %.0f %% of the width\n",
		sensor.GateAnamorphicProjector, float64(w/mm), float64(h/mm), 2*float64(w/h), 100*float64(w/squeezed))
	// Output:
	// academy projector gate: 20.95 × 15.29 mm, 1.37:1, 95 % of the width
	// 1.66 projector gate: 20.95 × 12.62 mm, 1.66:1, 95 % of the width
	// 1.85 projector gate: 20.95 × 11.33 mm, 1.85:1, 95 % of the width
	// anamorphic projector gate: 20.95 × 17.53 mm, 2.39:1 unsqueezed, 95 % of the width
}

// The camera can record fewer samples than it has photosites. What is left of them?
func ExampleNewReadout() {
	f, err := sensor.NewFormat(roofCamera)
	if err != nil {
		log.Fatal(err)
	}
	for _, mode := range []struct {
		by sensor.Reduction
		to sensor.Delivery
	}{{sensor.Binning, sensor.Cinema4K}, {sensor.Skipping, sensor.Cinema4K}, {sensor.Scaling, sensor.UHD2160}, {sensor.Binning, sensor.HD1080}} {
		r, err := sensor.NewReadout(sensor.ReadoutSpec{Of: f, By: mode.by, Raster: mode.to.Raster()})
		if err != nil {
			log.Fatal(err)
		}
		width, height := r.Format().Size()
		nyquist, _ := r.Format().Nyquist()
		across, _ := r.Fill()
		fmt.Printf("%v to %v: %.2f × %.2f mm, Nyquist %.1f lp/mm, %.2f photosites a sample over %.2f of its pitch\n",
			mode.by, mode.to, float64(width/mm), float64(height/mm), nyquist, r.Photosites(), across)
	}
	// Output:
	// binning to cinema 4K: 36.86 × 19.44 mm, Nyquist 55.6 lp/mm, 4.00 photosites a sample over 1.00 of its pitch
	// skipping to cinema 4K: 36.86 × 19.44 mm, Nyquist 55.6 lp/mm, 1.00 photosites a sample over 0.50 of its pitch
	// scaling to UHD 2160: 36.86 × 19.44 mm, Nyquist 52.1 lp/mm, 4.27 photosites a sample over 1.00 of its pitch
	// binning to HD 1080: 34.56 × 19.44 mm, Nyquist 27.8 lp/mm, 16.00 photosites a sample over 1.00 of its pitch
}

// A crop of 4K, 300 rows below the centre, where the quay is.
func ExampleNewCrop() {
	f, err := sensor.NewFormat(roofCamera)
	if err != nil {
		log.Fatal(err)
	}
	crop, err := sensor.NewCrop(sensor.CropSpec{Of: f, Raster: sensor.Cinema4K.Raster(), Down: 300})
	if err != nil {
		log.Fatal(err)
	}
	column, row := crop.Origin()
	width, _ := crop.Format().Size()
	_, y := crop.Centre()
	fmt.Printf("from column %d, row %d: %.3f mm wide, %.2f mm below the axis\n", column, row, float64(width/mm), float64(y/mm))

	_, err = sensor.NewCrop(sensor.CropSpec{Of: f, Raster: sensor.Cinema4K.Raster(), Down: 1200})
	fmt.Println(err)
	// Output:
	// from column 2048, row 1380: 18.432 mm wide, 1.35 mm below the axis
	// sensor: crop moved down 1200 px: must be at least -1080 and at most 1080 px
}

// Four pictures side by side make the ferry's panorama, to be cut to 2K. The rows
// limit the push-in.
func ExampleRaster_Headroom() {
	plate := sensor.Raster{Columns: 4 * 8192, Rows: 4320}
	h, _ := plate.Headroom(sensor.Cinema2K.Raster())
	fmt.Printf("%v× across, %v× down: push in up to %v×, limit: %v\n", h.Across, h.Down, h.Factor, h.Limit)
	text, err := json.Marshal(h)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println(string(text))
	// Output:
	// 16× across, 4× down: push in up to 4×, limit: vertical
	// {"Across":16,"Down":4,"Factor":4,"Limit":"vertical"}
}

// How far can a plate of 12K be pushed into, in each delivery?
func ExampleDelivery() {
	plate := sensor.Raster{Columns: 12288, Rows: 6480}
	for _, d := range []sensor.Delivery{
		sensor.Cinema2K, sensor.Cinema2KFlat, sensor.Cinema2KScope, sensor.HD1080,
		sensor.Cinema4K, sensor.Cinema4KFlat, sensor.Cinema4KScope, sensor.UHD2160, sensor.UHD4320,
	} {
		h, _ := plate.Headroom(d.Raster())
		limit := "the whole plate is used"
		switch h.Limit {
		case sensor.Horizontal:
			limit = "rows are to spare"
		case sensor.Vertical:
			limit = "columns are to spare"
		}
		fmt.Printf("%-15v %4d × %4d: %.2f×, %s\n", d, d.Raster().Columns, d.Raster().Rows, h.Factor, limit)
	}
	// Output:
	// cinema 2K       2048 × 1080: 6.00×, the whole plate is used
	// cinema 2K flat  1998 × 1080: 6.00×, columns are to spare
	// cinema 2K scope 2048 ×  858: 6.00×, rows are to spare
	// HD 1080         1920 × 1080: 6.00×, columns are to spare
	// cinema 4K       4096 × 2160: 3.00×, the whole plate is used
	// cinema 4K flat  3996 × 2160: 3.00×, columns are to spare
	// cinema 4K scope 4096 × 1716: 3.00×, rows are to spare
	// UHD 2160        3840 × 2160: 3.00×, columns are to spare
	// UHD 4320        7680 × 4320: 1.50×, columns are to spare
}

// The wall beyond the wheelhouse windows shows a sunlit quay at 150 cd/m². Does it
// clip, and how much key light does the setting want on the helmsman?
func ExampleNewExposure() {
	e, err := sensor.NewExposure(sensor.ExposureSpec{
		FNumber: 2.9, // a T-number: the loss in the glass is in it
		Time:    unit.Time(1) / 48,
		Index:   800,
	})
	if err != nil {
		log.Fatal(err)
	}
	grey, _ := e.Luminance(12.5)
	key, _ := e.Illuminance(250)
	margin, _ := e.SaturationMargin(150, 200)
	fmt.Printf("EV %.2f, EV100 %.2f: metered for %.1f cd/m², or %.0f lx\n", e.EV(), e.EV100(), grey, key)
	fmt.Printf("the quay is %.2f stops below saturation\n", margin)
	// Output:
	// EV 8.66, EV100 5.66: metered for 6.3 cd/m², or 126 lx
	// the quay is 0.42 stops below saturation
}

// The same surface loses light towards the corner of the frame and in a close-up.
func ExampleExposure_FocalPlane() {
	spec := sensor.ExposureSpec{FNumber: 2.8, Time: unit.Time(1) / 48, Index: 800, Transmission: 0.93}
	corner := spec
	corner.RelativeIllumination = 0.8 * 0.675 // vignetting, and the natural falloff at 25°
	near := spec
	near.Magnification = 0.1
	near.FlareExposure = 0.002
	for _, s := range []sensor.ExposureSpec{spec, corner, near} {
		e, err := sensor.NewExposure(s)
		if err != nil {
			log.Fatal(err)
		}
		h, _ := e.FocalPlane(40)
		fmt.Printf("%.4f lx·s\n", h)
	}
	// Output:
	// 0.0776 lx·s
	// 0.0419 lx·s
	// 0.0662 lx·s
}

// An incident meter reads 640 lx on the helmsman's face.
func ExampleTimeForEV100() {
	ev, err := sensor.EV100FromIlluminance(640, 250)
	if err != nil {
		log.Fatal(err)
	}
	t, err := sensor.TimeForEV100(ev, 4, 800)
	if err != nil {
		log.Fatal(err)
	}
	n, err := sensor.FNumberForEV100(ev, unit.Time(1)/48, 800)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("EV100 %.1f: 1/%.0f s at f/4, or f/%.1f at 1/48 s, at index 800\n", ev, 1/float64(t), n)
	// Output: EV100 8.0: 1/128 s at f/4, or f/6.5 at 1/48 s, at index 800
}

// A spot meter reads EV 10 off the wall and an incident meter EV 7 on the set; the
// wall should go up to 300 cd/m². All at index 100.
func ExampleLuminanceFromEV100() {
	wall, err := sensor.LuminanceFromEV100(10, 12.5)
	if err != nil {
		log.Fatal(err)
	}
	set, err := sensor.IlluminanceFromEV100(7, 250)
	if err != nil {
		log.Fatal(err)
	}
	wanted, err := sensor.EV100FromLuminance(300, 12.5)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("the wall has %.0f cd/m², the set %.0f lx; 300 cd/m² read EV %.2f\n", wall, set, wanted)
	// Output: the wall has 128 cd/m², the set 320 lx; 300 cd/m² read EV 11.23
}
