package sensor_test

import (
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sensor"
)

func TestHostileArguments(t *testing.T) {
	format, _ := sensor.NewFormat(roofCamera)
	part := sensor.CropSpec{Of: format, Raster: sensor.Cinema4K.Raster(), Down: 300}
	crop, _ := sensor.NewCrop(part)
	settings := sensor.ExposureSpec{FNumber: 4, Time: 0.02, Index: 800}
	exposure, _ := sensor.NewExposure(settings)
	skipped := sensor.ReadoutSpec{Of: format, By: sensor.Skipping, Raster: sensor.UHD2160.Raster()}
	readout, _ := sensor.NewReadout(skipped)
	hostile.Calls(t, []any{
		skipped, readout, sensor.CropFactor{Width: 2, Height: 2, Diagonal: 2}, sensor.Binning,
		roofCamera, format, part, crop, settings, exposure,
		sensor.Cinema2K.Raster(), sensor.Cinema2K, sensor.GateStill,
	},
		sensor.EV100FromIlluminance, sensor.EV100FromLuminance, sensor.IlluminanceFromEV100, sensor.LuminanceFromEV100,
		sensor.SaturationExposure, sensor.SaturationSpeed, sensor.FNumberForEV100, sensor.TimeForEV100,
		sensor.Gate.Size, sensor.Gate.String, sensor.Gate.MarshalText, sensor.Delivery.Raster, sensor.Delivery.String, sensor.Delivery.MarshalText,
		sensor.Direction.String, sensor.Direction.MarshalText,
		sensor.NewExposure, sensor.Exposure.EV, sensor.Exposure.EV100, sensor.Exposure.FocalPlane, sensor.Exposure.Illuminance,
		sensor.Exposure.Luminance, sensor.Exposure.FractionOfSaturation, sensor.Exposure.SaturationMargin,
		sensor.NewFormat, sensor.Format.CropFactor, sensor.CropFactor.Equivalent, sensor.NewReadout, sensor.Readout.Fill, sensor.Readout.Format, sensor.Readout.Photosites, sensor.Format.Diagonal, sensor.Format.Nyquist,
		sensor.Format.Pitch, sensor.Format.Size,
		sensor.Raster.Headroom,
		sensor.NewCrop, sensor.Crop.Centre, sensor.Crop.Format, sensor.Crop.Origin,
	)
}
