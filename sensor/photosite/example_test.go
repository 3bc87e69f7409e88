package photosite_test

import (
	"fmt"
	"log"
	"math"

	"example.com/platewright/sensor"
	"example.com/platewright/sensor/photosite"
	"gonum.org/v1/gonum/unit"
)

// The cameras on the ferry's wheelhouse roof.
const roofPitch = 4.5 * um

// A photosite of that camera, and its a converter of 12 bit.
var roofPhotosite = photosite.Spec{
	QuantumEfficiency:  0.5,
	ReadNoise:          3,
	SaturationCapacity: 30000,
	Gain:               4095.0 / 30000,
}

func ExampleNew() {
	p, err := photosite.New(roofPhotosite)
	if err != nil {
		log.Fatal(err)
	}
	mean, noise, _ := p.Signal(2000)
	fmt.Printf("2000 photons: %.1f ± %.2f DN above black\n", mean, noise)
	fmt.Printf("dynamic range %.1f stops, from %.1f to %.0f photons\n", math.Log2(p.DynamicRange()), p.Threshold(), p.SaturationPhotons())
	fmt.Printf("at most %.1f dB\n", 20*math.Log10(p.MaxSNR()))
	// Output:
	// 2000 photons: 136.5 ± 4.35 DN above black
	// dynamic range 12.8 stops, from 8.3 to 60000 photons
	// at most 44.8 dB
}

// How noisy is the shade under the ferry's awning, at 2 cd/m²? The photosite has a
// speed of its own, which is not the index set on the camera. The speed gives the
// fraction of saturation, and that the photons.
func ExamplePhotosite_SNR() {
	p, err := photosite.New(roofPhotosite)
	if err != nil {
		log.Fatal(err)
	}
	speed, err := p.SaturationSpeed(roofPitch, roofPitch, 0.555*um, 683)
	if err != nil {
		log.Fatal(err)
	}
	full, err := sensor.SaturationExposure(speed)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("saturation-based speed %.0f: full at %.3f lx·s\n", speed, full)
	e, err := sensor.NewExposure(sensor.ExposureSpec{FNumber: 2.8, Time: unit.Time(1) / 48, Index: 800})
	if err != nil {
		log.Fatal(err)
	}
	fraction, _ := e.FractionOfSaturation(2, speed)
	snr, _ := p.SNR(fraction * p.SaturationPhotons())
	fmt.Printf("the shade is at %.1f %% of saturation, SNR %.0f, %.0f dB\n", 100*fraction, snr, 20*math.Log10(snr))
	// Output:
	// saturation-based speed 108: full at 0.724 lx·s
	// the shade is at 0.6 % of saturation, SNR 13, 22 dB
}
