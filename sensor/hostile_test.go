package sensor_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sensor"
)

func TestHostileArguments(t *testing.T) {
	format, _ := sensor.NewFormat(roofCamera)
	window := sensor.WindowSpec{Of: format, Raster: sensor.Cinema4K.Raster(), Down: 300}
	cut, _ := sensor.NewWindow(window)
	settings := sensor.ExposureSpec{FNumber: 4, Time: 0.02, Index: 800}
	exposure, _ := sensor.NewExposure(settings)
	data := sensor.RecordingSpec{
		Raster: roofCamera.Raster, SamplesPerPixel: 1, BitsPerSample: 12,
		Rate: sensor.FrameRate{Num: 24, Den: 1}, Compression: 3, Cameras: 4,
	}
	recording, _ := sensor.NewRecording(data)
	well := sensor.PhotositeSpec{QuantumEfficiency: 0.5, ReadNoise: 2, Saturation: 3e4, Gain: 0.1}
	photosite, _ := sensor.NewPhotosite(well)
	hostile.Calls(t, []any{
		roofCamera, format, window, cut, settings, exposure, data, recording, well, photosite,
		sensor.Cinema2K.Raster(), sensor.Cinema2K, sensor.ApertureStill,
	},
		sensor.BoxMTF, sensor.JitterMTF, sensor.SamplingRatio, sensor.Irradiance, sensor.Photons,
		sensor.EV100FromIlluminance, sensor.EV100FromLuminance, sensor.IlluminanceFromEV100, sensor.LuminanceFromEV100,
		sensor.ExposureIndex, sensor.SaturationExposure, sensor.SaturationSpeed, sensor.FNumberForEV100, sensor.TimeForEV100,
		sensor.Aperture.Size, sensor.Aperture.String, sensor.Delivery.Raster, sensor.Delivery.String, sensor.Direction.String,
		sensor.NewExposure, sensor.Exposure.EV, sensor.Exposure.EV100, sensor.Exposure.FocalPlane, sensor.Exposure.Illuminance,
		sensor.Exposure.Luminance, sensor.Exposure.Saturation, sensor.Exposure.SaturationMargin,
		sensor.NewFormat, sensor.Format.Aspect, sensor.Format.CropFactor, sensor.Format.Diagonal, sensor.Format.Nyquist,
		sensor.Format.Pitch, sensor.Format.Raster, sensor.Format.Size,
		sensor.NewPhotosite, sensor.Photosite.DynamicRange, sensor.Photosite.ExactThreshold, sensor.Photosite.MaxSNR,
		sensor.Photosite.SNR, sensor.Photosite.SaturationPhotons, sensor.Photosite.Signal, sensor.Photosite.Threshold,
		sensor.Raster.Headroom, sensor.Raster.WholeWindows,
		sensor.NewRecording, sensor.Recording.BitsPerSecond, sensor.Recording.BytesPerSecond,
		sensor.Recording.StoreBytes, sensor.Recording.StoreTime,
		sensor.NewWindow, sensor.Window.Centre, sensor.Window.Format, sensor.Window.Origin,
	)
}
