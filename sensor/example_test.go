package sensor_test

import (
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

func ExampleNewFormat() {
	f, err := sensor.NewFormat(roofCamera)
	if err != nil {
		log.Fatal(err)
	}
	w, h := f.Size()
	fmt.Printf("%.3f × %.3f mm, diagonal %.3f mm\n", float64(w/mm), float64(h/mm), float64(f.Diagonal()/mm))
	nyquist, _ := f.Nyquist()
	fmt.Printf("Nyquist %.1f lp/mm\n", nyquist)
	if crop, ok := f.CropFactor(sensor.ApertureStill.Size()); ok {
		fmt.Printf("crop factor %.3f against the still frame\n", crop)
	}
	// Output:
	// 36.864 × 19.440 mm, diagonal 41.676 mm
	// Nyquist 111.1 lp/mm
	// crop factor 1.038 against the still frame
}

func ExampleNewWindow() {
	f, err := sensor.NewFormat(roofCamera)
	if err != nil {
		log.Fatal(err)
	}
	w, err := sensor.NewWindow(sensor.WindowSpec{Of: f, Raster: sensor.Cinema4K.Raster(), Down: 300})
	if err != nil {
		log.Fatal(err)
	}
	column, row := w.Origin()
	width, _ := w.Format().Size()
	_, y := w.Centre()
	fmt.Printf("from column %d, row %d: %.3f mm wide, %.2f mm below the axis\n", column, row, float64(width/mm), float64(y/mm))

	_, err = sensor.NewWindow(sensor.WindowSpec{Of: f, Raster: sensor.Cinema4K.Raster(), Down: 1200})
	fmt.Println(err)
	// Output:
	// from column 2048, row 1380: 18.432 mm wide, 1.35 mm below the axis
	// sensor: window moved down 1200 px: must be at least -1080 and at most 1080 px
}

// Four pictures side by side make the ferry's panorama, to be cut to 2K.
func ExampleRaster_Headroom() {
	plate := sensor.Raster{Columns: 4 * 8192, Rows: 4320}
	h, _ := plate.Headroom(sensor.Cinema2K.Raster())
	fmt.Printf("%v× across, %v× down: push in %v×, %v stops, limited %v\n", h.Across, h.Down, h.Factor, h.Stops, h.Limit)
	// Output: 16× across, 4× down: push in 4×, 2 stops, limited along columns
}

func ExampleRaster_WholeWindows() {
	across, down, exact := sensor.Raster{Columns: 12288, Rows: 6480}.WholeWindows(sensor.Cinema4K.Raster())
	fmt.Println(across*down, exact)
	// Output: 9 true
}

// The ferry crosses in 22 minutes. Do four cameras need more than 16 TB?
func ExampleNewRecording() {
	r, err := sensor.NewRecording(sensor.RecordingSpec{
		Raster:          roofCamera.Raster,
		SamplesPerPixel: 1, // raw
		BitsPerSample:   12,
		Rate:            sensor.FrameRate{Num: 24000, Den: 1001},
		Compression:     5,
		Cameras:         4,
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.3f Gbit/s, %.1f MB/s\n", r.BitsPerSecond()/1e9, r.BytesPerSecond()/1e6)
	need, _ := r.StoreBytes(22 * 60)
	fmt.Printf("a crossing takes %.2f TB\n", need/1e12)
	lasts, _ := r.StoreTime(16e12)
	fmt.Printf("16 TB last %.0f min\n", float64(lasts/60))
	// Output:
	// 8.146 Gbit/s, 1018.2 MB/s
	// a crossing takes 1.34 TB
	// 16 TB last 262 min
}

// The wall beyond the wheelhouse windows shows a sunlit quay at 150 cd/m².
func ExampleNewExposure() {
	e, err := sensor.NewExposure(sensor.ExposureSpec{
		FNumber: 2.9, // a T-number: the loss in the glass is in it
		Time:    unit.Time(1) / 48,
		Index:   800,
	})
	if err != nil {
		log.Fatal(err)
	}
	middle, _ := e.Luminance(12.5)
	margin, _ := e.SaturationMargin(150, 200)
	fmt.Printf("EV100 %.2f: metered for %.1f cd/m²\n", e.EV100(), middle)
	fmt.Printf("the quay is %.2f stops below saturation\n", margin)
	// Output:
	// EV100 5.66: metered for 6.3 cd/m²
	// the quay is 0.42 stops below saturation
}

func ExampleTimeForEV100() {
	ev, err := sensor.EV100FromIlluminance(640, 250) // lx on the helmsman's face
	if err != nil {
		log.Fatal(err)
	}
	t, err := sensor.TimeForEV100(ev, 4, 800)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("EV100 %.1f: 1/%.0f s at f/4 and index 800\n", ev, 1/float64(t))
	// Output: EV100 8.0: 1/128 s at f/4 and index 800
}

func ExampleNewPhotosite() {
	p, err := sensor.NewPhotosite(sensor.PhotositeSpec{
		QuantumEfficiency: 0.5,
		ReadNoise:         3,
		Saturation:        30000,
		Gain:              4095.0 / 30000, // 12 bit
	})
	if err != nil {
		log.Fatal(err)
	}
	snr, _ := p.SNR(2000)
	fmt.Printf("SNR %.1f at 2000 photons, dynamic range %.0f\n", snr, p.DynamicRange())
	// Output: SNR 31.4 at 2000 photons, dynamic range 7193
}

// How much of the contrast at the Nyquist frequency is left where the ferry's
// turn moves the picture half a pixel during the exposure.
func ExampleBoxMTF() {
	const pitch = 4.5 * unit.Micro * unit.Metre
	f, err := sensor.NewFormat(roofCamera)
	if err != nil {
		log.Fatal(err)
	}
	nyquist, _ := f.Nyquist()
	photosite, err := sensor.BoxMTF(nyquist, pitch)
	if err != nil {
		log.Fatal(err)
	}
	smear, err := sensor.BoxMTF(nyquist, pitch/2)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.3f × %.3f = %.3f\n", photosite, smear, photosite*smear)
	// Output: 0.637 × 0.900 = 0.573
}
