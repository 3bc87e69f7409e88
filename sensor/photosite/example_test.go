package photosite_test

import (
	"fmt"
	"log"
	"math"
	"math/rand/v2"

	"example.com/platewright/sensor"
	"example.com/platewright/sensor/photosite"
	"gonum.org/v1/gonum/unit"
)

// A photosite of the cameras on the ferry's wheelhouse roof, its converter of 12 bit,
// and daylight behind a filter that stops ultraviolet and infrared.
func roofPhotosite() photosite.Spec {
	daylight, err := photosite.NewSpectrum(photosite.SpectrumSpec{Illuminant: photosite.IlluminantD65})
	if err != nil {
		log.Fatal(err)
	}
	photons, _ := daylight.PhotonsPerLuxSecond(400*nm, 700*nm)
	return photosite.Spec{
		PitchX: 3 * um, PitchY: 3 * um,
		PhotonsPerLuxSecond: photons,
		QuantumEfficiency:   0.25, // with the filters of the mosaic, mean over the band
		ReadNoise:           2.2,
		SaturationCapacity:  9000,
		Gain:                4095.0 / 9000,
		PRNU:                0.006,
		DSNU:                0.4,
	}
}

// Night on the quay is lit by lamps, the wall on the stage by narrow red, green and
// blue. How many photons are in a lux-second of each?
func ExampleNewSpectrum() {
	sample := func(wavelength unit.Length, power float64) photosite.Sample {
		return photosite.Sample{Wavelength: wavelength, Power: power}
	}
	wall := []photosite.Sample{ // invented: three peaks
		sample(430*nm, 0), sample(455*nm, 1), sample(480*nm, 0),
		sample(500*nm, 0), sample(525*nm, 0.9), sample(550*nm, 0),
		sample(610*nm, 0), sample(630*nm, 1.4), sample(650*nm, 0),
	}
	for _, light := range []struct {
		name string
		spec photosite.SpectrumSpec
	}{
		{"555 nm", photosite.SpectrumSpec{Line: 555 * nm}},
		{"equal energy", photosite.SpectrumSpec{Illuminant: photosite.EqualEnergy}},
		{"lamps (A)", photosite.SpectrumSpec{Illuminant: photosite.IlluminantA}},
		{"daylight (D65)", photosite.SpectrumSpec{Illuminant: photosite.IlluminantD65}},
		{"LED wall", photosite.SpectrumSpec{Samples: wall}},
	} {
		s, err := photosite.NewSpectrum(light.spec)
		if err != nil {
			log.Fatal(err)
		}
		narrow, _ := s.PhotonsPerLuxSecond(400*nm, 700*nm)
		wide, _ := s.PhotonsPerLuxSecond(380*nm, 780*nm)
		fmt.Printf("%-14s %5.0f photons/µm² from 400 to 700 nm, %5.0f from 380 to 780 nm, %3.0f lm/W\n", light.name, narrow, wide, s.LumensPerWatt())
	}
	// Output:
	// 555 nm          4091 photons/µm² from 400 to 700 nm,  4091 from 380 to 780 nm, 683 lm/W
	// equal energy   11381 photons/µm² from 400 to 700 nm, 16002 from 380 to 780 nm, 155 lm/W
	// lamps (A)      11983 photons/µm² from 400 to 700 nm, 21004 from 380 to 780 nm, 123 lm/W
	// daylight (D65) 10851 photons/µm² from 400 to 700 nm, 13887 from 380 to 780 nm, 184 lm/W
	// LED wall       11508 photons/µm² from 400 to 700 nm, 11508 from 380 to 780 nm, 237 lm/W
}

func ExampleNew() {
	p, err := photosite.New(roofPhotosite())
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("full at %.3f lx·s: saturation-based speed %.0f\n", p.SaturationExposure(), p.SaturationSpeed())
	mean, noise, _ := p.Signal(0.01)
	fmt.Printf("0.01 lx·s: %.1f ± %.2f DN above black\n", mean, noise)
	fmt.Printf("dynamic range %.1f stops, from %.6f lx·s\n", math.Log2(p.DynamicRange()), p.Threshold())
	fmt.Printf("at most %.1f dB\n", 20*math.Log10(p.MaxSNR()))
	// Output:
	// full at 0.369 lx·s: saturation-based speed 212
	// 0.01 lx·s: 111.1 ± 7.19 DN above black
	// dynamic range 11.7 stops, from 0.000114 lx·s
	// at most 39.5 dB
}

// From the light on a grey card to the noise in the delivered picture: 640 lx, 12K
// plates delivered in 4K, then pushed into.
func ExamplePixel_Noise() {
	site, err := photosite.New(roofPhotosite())
	if err != nil {
		log.Fatal(err)
	}
	e, err := sensor.NewExposure(sensor.ExposureSpec{FNumber: 4, Time: unit.Time(1) / 50, Index: 200, Transmission: 0.85})
	if err != nil {
		log.Fatal(err)
	}
	card := 0.18 * 640 / math.Pi
	exposure, _ := e.FocalPlane(card)
	electrons, _ := site.Electrons(exposure)
	snr, _ := site.SNR(exposure)
	fmt.Printf("640 lx on a card of 18 %%: %.1f cd/m², %.3f lx·s, %.0f electrons, SNR %.1f\n", card, exposure, electrons, snr)

	plate := sensor.Raster{Columns: 12288, Rows: 6480}
	headroom, _ := plate.Headroom(sensor.Cinema4K.Raster())
	for _, pushIn := range []float64{1, 2, 3, 6} {
		for _, colour := range []struct {
			name     string
			fraction float64
		}{{"green", 0.5}, {"red or blue", 0.25}} {
			pixel, err := photosite.NewPixel(photosite.PixelSpec{
				Photosite: site, Scale: headroom.Factor / pushIn, ColourFraction: colour.fraction,
			})
			if err != nil {
				log.Fatal(err)
			}
			n, _ := pixel.Noise(exposure)
			fmt.Printf("push-in %g×, %-12s SNR %5.1f, grain of %.1f pixels, most of it %v\n", pushIn, colour.name+":", n.SNR, pixel.Grain(), n.Limit)
		}
	}
	// Output:
	// 640 lx on a card of 18 %: 36.7 cd/m², 0.031 lx·s, 747 electrons, SNR 27.2
	// push-in 1×, green:       SNR  57.0, grain of 1.0 pixels, most of it shot noise
	// push-in 1×, red or blue: SNR  40.3, grain of 1.0 pixels, most of it shot noise
	// push-in 2×, green:       SNR  28.5, grain of 1.0 pixels, most of it shot noise
	// push-in 2×, red or blue: SNR  26.9, grain of 1.3 pixels, most of it shot noise
	// push-in 3×, green:       SNR  26.9, grain of 1.4 pixels, most of it shot noise
	// push-in 3×, red or blue: SNR  26.9, grain of 2.0 pixels, most of it shot noise
	// push-in 6×, green:       SNR  26.9, grain of 2.8 pixels, most of it shot noise
	// push-in 6×, red or blue: SNR  26.9, grain of 4.0 pixels, most of it shot noise
}

// What lowers the noise in the shade under the awning, at 0.002 lx·s?
func ExampleNewPixel() {
	site, err := photosite.New(roofPhotosite())
	if err != nil {
		log.Fatal(err)
	}
	for _, way := range []struct {
		name string
		spec photosite.PixelSpec
	}{
		{"one photosite", photosite.PixelSpec{}},
		{"binned 2 × 2", photosite.PixelSpec{Binning: 2}},
		{"averaged 2 × 2", photosite.PixelSpec{Scale: 2}},
		{"4 frames", photosite.PixelSpec{Frames: 4}},
		{"1000 frames", photosite.PixelSpec{Frames: 1000}},
	} {
		way.spec.Photosite = site
		p, err := photosite.NewPixel(way.spec)
		if err != nil {
			log.Fatal(err)
		}
		n, _ := p.Noise(0.002)
		fmt.Printf("%-14s %.0f electrons; shot noise %.2f, dark %.2f, pattern %.2f: SNR %5.1f, limit: %v\n",
			way.name, n.Electrons, n.Shot, n.Dark, n.Pattern, n.SNR, n.Limit)
	}
	// Output:
	// one photosite  49 electrons; shot noise 6.99, dark 2.29, pattern 0.50: SNR   6.6, limit: shot noise
	// binned 2 × 2   49 electrons; shot noise 3.49, dark 0.84, pattern 0.25: SNR  13.6, limit: shot noise
	// averaged 2 × 2 49 electrons; shot noise 3.49, dark 1.14, pattern 0.25: SNR  13.3, limit: shot noise
	// 4 frames       49 electrons; shot noise 3.49, dark 1.14, pattern 0.50: SNR  13.2, limit: shot noise
	// 1000 frames    49 electrons; shot noise 0.22, dark 0.07, pattern 0.50: SNR  89.2, limit: fixed pattern
}

// The afterglow is 5 stops above grey, the shore in shade 3 below. Which index keeps
// both, with an SNR of 10 in the shade?
func ExamplePixel_Indices() {
	site, err := photosite.New(roofPhotosite())
	if err != nil {
		log.Fatal(err)
	}
	for _, scale := range []float64{1, 3} {
		p, err := photosite.NewPixel(photosite.PixelSpec{Photosite: site, Scale: scale})
		if err != nil {
			log.Fatal(err)
		}
		for _, above := range []float64{4, 5, 6} {
			i, _ := p.Indices(above, 3, 10)
			fmt.Printf("%g samples a pixel, %g stops above: index %.0f protects highlights, %.0f shadows, %+.1f stops\n",
				scale*scale, above, i.Least, i.Greatest, i.SpareStops)
		}
		least, _ := p.ExposureForSNR(10)
		l, _ := p.Latitude(10./800, 10)
		fmt.Printf("%g samples a pixel: SNR 10 from %.5f lx·s; at index 800, %.1f stops above grey and %.1f below\n", scale*scale, least, l.AboveStops, l.BelowStops)
	}
	// Output:
	// 1 samples a pixel, 4 stops above: index 434 protects highlights, 289 shadows, -0.6 stops
	// 1 samples a pixel, 5 stops above: index 868 protects highlights, 289 shadows, -1.6 stops
	// 1 samples a pixel, 6 stops above: index 1736 protects highlights, 289 shadows, -2.6 stops
	// 1 samples a pixel: SNR 10 from 0.00432 lx·s; at index 800, 4.9 stops above grey and 1.5 below
	// 9 samples a pixel, 4 stops above: index 434 protects highlights, 2022 shadows, +2.2 stops
	// 9 samples a pixel, 5 stops above: index 868 protects highlights, 2022 shadows, +1.2 stops
	// 9 samples a pixel, 6 stops above: index 1736 protects highlights, 2022 shadows, +0.2 stops
	// 9 samples a pixel: SNR 10 from 0.00062 lx·s; at index 800, 4.9 stops above grey and 4.3 below
}

// Do afterglow and shaded shore fit at once, and what should change?
func ExamplePixel_Fit() {
	site, err := photosite.New(roofPhotosite())
	if err != nil {
		log.Fatal(err)
	}
	p, err := photosite.NewPixel(photosite.PixelSpec{Photosite: site, Scale: 3})
	if err != nil {
		log.Fatal(err)
	}
	for _, shutter := range []float64{50, 12} {
		e, err := sensor.NewExposure(sensor.ExposureSpec{FNumber: 2.8, Time: unit.Time(1 / shutter), Index: 800, Transmission: 0.85})
		if err != nil {
			log.Fatal(err)
		}
		f, _ := p.Fit(e, 0.15, 38, 10)
		fmt.Printf("1/%g s: scene %.1f stops, sensor %.1f; OK: %v, %v limit with %+.1f stops; %+.1f stops of light balance it\n",
			shutter, f.SceneStops, f.SensorStops, f.OK, f.Limit, f.SpareStops, f.BalanceStops)
	}
	// Output:
	// 1/50 s: scene 8.0 stops, sensor 9.2; OK: false, shadows limit with -1.3 stops; +1.9 stops of light balance it
	// 1/12 s: scene 8.0 stops, sensor 9.2; OK: true, highlights limit with +0.5 stops; -0.2 stops of light balance it
}

// Frames of an even light, of the camera on the bench: what is its gain, how much does
// it hold, how much noise does it add? The light source counts photons.
func ExampleMeasurePhotonTransfer() {
	random := rand.New(rand.NewPCG(1, 2))
	frame := func(photons float64) photosite.Plane[uint16] { // simulated; yours come from files
		p := photosite.Plane[uint16]{Pix: make([]uint16, 80*60), Width: 80, Height: 60}
		for i := range p.Pix {
			electrons := min(0.25*photons+math.Sqrt(0.25*photons)*random.NormFloat64(), 9000)
			p.Pix[i] = uint16(math.Round(64 + 0.44*(electrons+2.2*random.NormFloat64())))
		}
		return p
	}
	pair := func(photons float64) photosite.FlatPair {
		p, err := photosite.MeasureFlatPair(frame(photons), frame(photons))
		if err != nil {
			log.Fatal(err)
		}
		return p
	}
	var spec photosite.PhotonTransferSpec
	for photons := 1000.0; photons <= 40000; photons += 1000 {
		spec.Exposures = append(spec.Exposures, photosite.FlatExposure{Photons: photons, Bright: pair(photons), Dark: pair(0)})
	}
	p, err := photosite.MeasurePhotonTransfer(spec)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("gain %.3f ± %.3f DN/e⁻\n", p.Gain.Value, p.Gain.Uncertainty)
	fmt.Printf("quantum efficiency %.1f ± %.1f %%\n", 100*p.QuantumEfficiency.Value, 100*p.QuantumEfficiency.Uncertainty)
	fmt.Printf("read noise %.2f ± %.2f e⁻\n", p.ReadNoise.Value, p.ReadNoise.Uncertainty)
	fmt.Printf("saturation capacity %.0f ± %.0f e⁻\n", p.SaturationCapacity.Value, p.SaturationCapacity.Uncertainty)

	// What was measured predicts pictures.
	site, err := photosite.New(p.Spec(photosite.Spec{PitchX: 3 * um, PitchY: 3 * um, PhotonsPerLuxSecond: 10851}))
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("saturation-based speed %.0f\n", site.SaturationSpeed())
	// Output:
	// gain 0.437 ± 0.002 DN/e⁻
	// quantum efficiency 25.2 ± 0.1 %
	// read noise 2.22 ± 0.01 e⁻
	// saturation capacity 8554 ± 180 e⁻
	// saturation-based speed 224
}

// Ten frames of one light give the pattern between photosites.
func ExampleStackMeter() {
	random := rand.New(rand.NewPCG(3, 4))
	response := make([]float64, 80*60)
	for i := range response {
		response[i] = 2000 * (1 + 0.01*random.NormFloat64())
	}
	var meter photosite.StackMeter[float32]
	for range 10 {
		p := photosite.Plane[float32]{Pix: make([]float32, 80*60), Width: 80, Height: 60}
		for i, level := range response {
			p.Pix[i] = float32(level + 30*random.NormFloat64())
		}
		if err := meter.Add(p); err != nil {
			log.Fatal(err)
		}
	}
	s, err := meter.Measure()
	if err != nil {
		log.Fatal(err)
	}
	pattern := s.SpatialVariance - s.TemporalVariance/float64(s.Frames)
	fmt.Printf("%.1f%% from photosite to photosite, %.1f%% from frame to frame\n", 100*math.Sqrt(pattern)/s.Mean, 100*math.Sqrt(s.TemporalVariance)/s.Mean)
	// Output:
	// 1.0% from photosite to photosite, 1.5% from frame to frame
}
