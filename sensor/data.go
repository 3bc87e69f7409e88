package sensor

import (
	"fmt"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// Rate is Num/Den frames per second. 24000/1001 is not 23.976, so a Rate is no
// float64. It is not validated; NewRecording rejects a Num or Den below 1. From a
// Rate of package sync:
//
//	num, den := rate.Ratio()
//	sensor.Rate{Num: num, Den: den}
type Rate struct {
	Num, Den int64
}

// RecordingSpec describes what one or more cameras of one kind record.
type RecordingSpec struct {
	// Raster of one camera's picture.
	Raster Raster
	// SamplesPerPixel is 1 for the raw mosaic of a sensor, 3 for RGB and 4:4:4,
	// 2 for 4:2:2, 1.5 for 4:2:0; 0.25 to 16.
	SamplesPerPixel float64
	// BitsPerSample as stored, padding included: 12-bit samples in 16-bit words
	// take 16; 1 to 64.
	BitsPerSample int
	// Rate is the frame rate, at most 1e6 a second.
	Rate Rate
	// Compression is the compression ratio, 1 to 1000. Zero means 1, no compression.
	Compression float64
	// Cameras is how many cameras record, 1 to 1000. Zero means 1.
	Cameras int
}

// Recording is the data that the cameras of a RecordingSpec make together. It is
// immutable and comparable. The methods of its zero value return zeros and false.
//
// Amounts of data are float64, with a relative error below 9 ulp.
type Recording struct {
	bits        float64 // of one frame of all cameras, before compression
	rate        Rate
	compression float64
}

// NewRecording makes a Recording.
func NewRecording(spec RecordingSpec) (Recording, error) {
	if spec.Compression == 0 {
		spec.Compression = 1
	}
	if spec.Cameras == 0 {
		spec.Cameras = 1
	}
	c := valid.New("sensor", ErrInvalid)
	spec.Raster.check(c)
	c.Number("samples per pixel", spec.SamplesPerPixel, "", valid.Closed(0.25, 16))
	c.Int("bits per sample", spec.BitsPerSample, "bit", 1, 64)
	if r := spec.Rate; r.Num < 1 || float64(r.Num) > 1e6*float64(r.Den) { // a Den below 1 allows no Num
		c.Fault("frame rate", fmt.Sprintf("%d/%d fps", r.Num, r.Den), "must be at most 1000000 fps, and its two numbers at least 1")
	}
	c.Number("compression", spec.Compression, "", valid.Closed(1.0, 1000))
	c.Int("cameras", spec.Cameras, "", 1, 1000)
	if err := c.Err(); err != nil {
		return Recording{}, err
	}
	pixels := float64(spec.Raster.Columns) * float64(spec.Raster.Rows)
	return Recording{
		bits:        pixels * float64(spec.BitsPerSample) * spec.SamplesPerPixel * float64(spec.Cameras),
		rate:        spec.Rate,
		compression: spec.Compression,
	}, nil
}

// BytesPerSecond is the data rate of the pixels in byte/s. Multiply by 8 for
// bit/s.
//
//	columns · rows · samples per pixel · bits per sample / 8 · cameras · rate / compression
//
// Sound, metadata, checksums and the overhead of files are not included.
func (r Recording) BytesPerSecond() float64 {
	if r == (Recording{}) {
		return 0
	}
	return r.bits * float64(r.rate.Num) / float64(r.rate.Den) / r.compression / 8
}

// StoreBytes is how many bytes a take of a duration needs:
//
//	bytes = take · BytesPerSecond
//
// It does not round up to whole frames. ok is false if the duration is outside
// 0 to 1e30 s or the amount is more than 1e30 bytes. StoreTime is the inverse.
func (r Recording) StoreBytes(take unit.Time) (bytes float64, ok bool) {
	if r == (Recording{}) || !amounts.Contains(float64(take)) {
		return 0, false
	}
	bytes = snapped(float64(take)*r.BytesPerSecond(), amounts)
	if !amounts.Contains(bytes) {
		return 0, false
	}
	return bytes, true
}

// StoreTime is the duration that a store of so many bytes lasts:
//
//	t = bytes / BytesPerSecond
//
// It does not round to whole frames. ok is false if the amount is outside
// 0 to 1e30 bytes or the duration is more than 1e30 s. StoreBytes is the inverse.
func (r Recording) StoreTime(bytes float64) (t unit.Time, ok bool) {
	if r == (Recording{}) || !amounts.Contains(bytes) {
		return 0, false
	}
	seconds := snapped(bytes/r.BytesPerSecond(), amounts)
	if !amounts.Contains(seconds) {
		return 0, false
	}
	return unit.Time(seconds), true
}
