package photosite_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sensor"
	"example.com/platewright/sensor/photosite"
	"github.com/stretchr/testify/require"
)

func TestHostileArguments(t *testing.T) {
	site := roofPhotosite()
	p, _ := photosite.New(site)
	pixel := photosite.PixelSpec{Photosite: p, Scale: 2}
	x, _ := photosite.NewPixel(pixel)
	extreme, _ := photosite.New(photosite.Spec{
		PitchX: 0.1 * um, PitchY: 0.1 * um, PhotonsPerLuxSecond: 1, QuantumEfficiency: 1e-6, ReadNoise: 1e9, SaturationCapacity: 1e12, Gain: 1e-9,
	})
	y, _ := photosite.NewPixel(photosite.PixelSpec{Photosite: extreme, Scale: 1e-3, ColourFraction: 1e-3})
	settings := sensor.ExposureSpec{FNumber: 4, Time: 0.02, Index: 800, FlareExposure: 0.01}
	exposure, _ := sensor.NewExposure(settings)
	lamp := photosite.SpectrumSpec{Samples: every(5, 380, lamp)}
	s, _ := photosite.NewSpectrum(lamp)
	frame := photosite.Plane[float32]{Pix: make([]float32, 200), Width: 20, Height: 10}
	evidence := sound()
	evidence.BrightStack, evidence.DarkStack = aStack, aStack
	transfer, err := photosite.MeasurePhotonTransfer(evidence)
	require.NoError(t, err)
	hostile.Calls(t, []any{frame, evidence, transfer},
		photosite.MeasureFlatPair[float32], photosite.MeasurePhotonTransfer,
		func(p photosite.Plane[float32]) error { return new(photosite.StackMeter[float32]).Add(p) },
	)
	hostile.Calls(t, []any{site, p, extreme, pixel, x, y, exposure, lamp, s, 500 * nm, 600 * nm, photosite.IlluminantA, photosite.Shadows, photosite.DarkNoise},
		photosite.New, photosite.NewPixel, photosite.NewSpectrum,
		photosite.Photosite.DynamicRange, photosite.Photosite.MaxSNR, photosite.Photosite.Electrons,
		photosite.Photosite.SNR, photosite.Photosite.SaturationExposure, photosite.Photosite.SaturationSpeed,
		photosite.Photosite.Signal, photosite.Photosite.Threshold,
		photosite.Pixel.ExposureForSNR, photosite.Pixel.Fit, photosite.Pixel.Grain, photosite.Pixel.Indices,
		photosite.Pixel.Latitude, photosite.Pixel.Noise,
		photosite.Spectrum.LumensPerWatt, photosite.Spectrum.PhotonsPerLuxSecond,
		photosite.Illuminant.String, photosite.Illuminant.MarshalText, photosite.End.String, photosite.End.MarshalText,
		photosite.Source.String, photosite.Source.MarshalText,
	)
}
