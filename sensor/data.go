package sensor

import (
	"fmt"

	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// FrameRate is a number of frames per second, Num/Den: {24, 1}, {24000, 1001}.
// The latter is not 23.976, which is why a rate is not a float64.
type FrameRate struct {
	Num, Den int64
}

// RecordingSpec describes what one or more like cameras record.
type RecordingSpec struct {
	// Raster of the picture of one camera, 1 to 2^24 a side.
	Raster Raster
	// SamplesPerPixel is 1 for the raw mosaic of a sensor, 3 for three full
	// colours, 2 for 4:2:2, 1.5 for 4:2:0; 0.25 to 16.
	SamplesPerPixel float64
	// BitsPerSample as stored, padding included: 12-bit samples in 16-bit
	// words take 16; 1 to 64.
	BitsPerSample int
	// Rate of frames, up to 1e6 a second.
	Rate FrameRate
	// Compression is how many times smaller the data get, 1 to 1000. Zero
	// means 1, uncompressed.
	Compression float64
	// Cameras that record together, 1 to 1000. Zero means 1.
	Cameras int
}

// Recording is a checked stream of data. It is immutable and comparable; its
// zero value holds no data. Its methods speak of all cameras together.
//
// Units are decimal: 1 kB is 1000 B, 1 TB is 1e12 B, 1 B is 8 bit. Amounts of
// data are float64, which counts whole bytes up to 9e15 and never overflows;
// what is computed here is within 9 ulp of the exact rational value.
type Recording struct {
	bits float64 // of one frame of all cameras, before compression
	rate FrameRate
	by   float64 // compression
}

// NewRecording checks a spec.
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
	if r := spec.Rate; r.Num < 1 || r.Den < 1 || float64(r.Num) > 1e6*float64(r.Den) {
		c.Fault("frame rate", fmt.Sprintf("%d/%d fps", r.Num, r.Den), "must be at most 1000000 fps, and its two numbers at least 1")
	}
	c.Number("compression", spec.Compression, "", valid.Closed(1.0, 1000))
	c.Int("cameras", spec.Cameras, "", 1, 1000)
	if err := c.Err(); err != nil {
		return Recording{}, err
	}
	pixels := float64(spec.Raster.Columns) * float64(spec.Raster.Rows)
	return Recording{
		bits: pixels * float64(spec.BitsPerSample) * spec.SamplesPerPixel * float64(spec.Cameras),
		rate: spec.Rate,
		by:   spec.Compression,
	}, nil
}

// BitsPerSecond is the rate of data in bit/s:
//
//	columns · rows · samples per pixel · bits per sample · cameras · Num / (Den · compression)
//
// It is of pixels alone: sound, metadata, checks of the data and the overhead
// of files come on top.
//
// Source: definition.
func (r Recording) BitsPerSecond() float64 {
	if r == (Recording{}) {
		return 0
	}
	return r.bits * float64(r.rate.Num) / float64(r.rate.Den) / r.by
}

// BytesPerSecond is the rate of data in byte/s, BitsPerSecond / 8.
//
// Source: definition.
func (r Recording) BytesPerSecond() float64 { return r.BitsPerSecond() / 8 }

// StoreTime is how long a store of so many bytes lasts:
//
//	t = store / BytesPerSecond
//
// It does not round to whole frames. There is no answer (false) for a store
// outside 0 to 1e30 bytes, nor for one that lasts longer than 1e30 s.
// StoreBytes is the inverse.
//
// Source: definition.
func (r Recording) StoreTime(storeBytes float64) (unit.Time, bool) {
	rate := r.BytesPerSecond()
	if rate == 0 || !amounts.Contains(storeBytes) {
		return 0, false
	}
	t := snapped(storeBytes/rate, amounts)
	if !amounts.Contains(t) {
		return 0, false
	}
	return unit.Time(t), true
}

// StoreBytes is how many bytes a take of that length needs:
//
//	store = t · BytesPerSecond
//
// It does not round up to whole frames. There is no answer (false) for a time
// outside 0 to 1e30 s, nor for one that needs more than 1e30 bytes. StoreTime
// is the inverse.
//
// Source: definition.
func (r Recording) StoreBytes(take unit.Time) (float64, bool) {
	if r == (Recording{}) || !amounts.Contains(float64(take)) {
		return 0, false
	}
	store := snapped(float64(take)*r.BytesPerSecond(), amounts)
	if !amounts.Contains(store) {
		return 0, false
	}
	return store, true
}
