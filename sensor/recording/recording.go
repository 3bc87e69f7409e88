package recording

import (
	"errors"
	"fmt"
	"math"

	"example.com/platewright/internal/valid"
	"example.com/platewright/sensor"
	"gonum.org/v1/gonum/unit"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("recording: invalid value")

var (
	amounts = valid.Closed(0.0, 1e30) // data in bytes, times in s
	speeds  = valid.Closed(1.0, 1e15) // byte/s
	stores  = valid.Closed(1.0, 1e30) // capacities in bytes
	lengths = valid.Closed(1e-3, 1e9) // of a take, in s
	clock   = valid.Closed(-1e9, 1e9) // times of a day, in s
	swaps   = valid.Closed(0.0, 1e6)  // times by hand, in s
	reserve = valid.Below(0.0, 1)     // fractions kept free
)

// snapped returns the nearer end of r if v lies outside r by rounding only, and v
// otherwise: an inverse then accepts what its function returned at the end.
func snapped(v float64, r valid.Range) float64 {
	if end := min(max(v, r.Min), r.Max); math.Abs(v-end) <= 1e-12*math.Abs(end) {
		return end
	}
	return v
}

// Rate is Num/Den frames per second. 24000/1001 is not 23.976, so a Rate is no
// float64. It is not validated; New rejects a Num or Den below 1. From a Rate of
// package sync:
//
//	num, den := rate.Ratio()
//	recording.Rate{Num: num, Den: den}
type Rate struct {
	Num, Den int64
}

// Spec describes what one or more cameras of one kind record. Codecs keep either a
// constant ratio, whatever is seen, or a constant rate: give Compression for the
// first, CameraBytesPerSecond for the second.
type Spec struct {
	// Raster of one camera's picture.
	Raster sensor.Raster
	// SamplesPerPixel is 1 for the raw mosaic of a sensor, 3 for RGB and 4:4:4,
	// 2 for 4:2:2, 1.5 for 4:2:0; 0.25 to 16.
	SamplesPerPixel float64
	// BitsPerSample as stored, padding included: 12-bit samples in 16-bit words
	// take 16; 1 to 64.
	BitsPerSample int
	// Rate is the frame rate, at most 1e6 a second.
	Rate Rate
	// Compression is the constant compression ratio, 1 to 1000. Zero means 1, no
	// compression, if there is no constant rate either.
	Compression float64
	// CameraBytesPerSecond is the constant rate of one camera, 1 to 1e15 byte/s,
	// whatever the raster and the frame rate. Zero means a constant ratio.
	CameraBytesPerSecond float64
	// Cameras is how many cameras record, 1 to 1000. Zero means 1.
	Cameras int
}

// Recording is the data that the cameras of a Spec make together. It is immutable
// and comparable. The methods of its zero value return zeros and false.
//
// Amounts of data are float64, with a relative error below 9 ulp.
type Recording struct {
	raw     float64 // byte/s of one camera before compression
	camera  float64 // and after it
	cameras float64
}

// New makes a Recording.
func New(spec Spec) (Recording, error) {
	if spec.Compression == 0 && spec.CameraBytesPerSecond == 0 {
		spec.Compression = 1
	}
	if spec.Cameras == 0 {
		spec.Cameras = 1
	}
	c := valid.New("recording", ErrInvalid)
	c.Int("columns", spec.Raster.Columns, "px", 1, valid.MaxSide)
	c.Int("rows", spec.Raster.Rows, "px", 1, valid.MaxSide)
	c.Number("samples per pixel", spec.SamplesPerPixel, "", valid.Closed(0.25, 16))
	c.Int("bits per sample", spec.BitsPerSample, "bit", 1, 64)
	if r := spec.Rate; r.Num < 1 || float64(r.Num) > 1e6*float64(r.Den) { // a Den below 1 allows no Num
		c.Fault("frame rate", fmt.Sprintf("%d/%d fps", r.Num, r.Den), "must be at most 1000000 fps, and its two numbers at least 1")
	}
	switch {
	case spec.CameraBytesPerSecond == 0:
		c.Number("compression", spec.Compression, "", valid.Closed(1.0, 1000))
	case spec.Compression != 0:
		c.Fault("compression", "with a constant rate", "give the ratio or the rate, not both")
	default:
		c.Number("rate of a camera", spec.CameraBytesPerSecond, "B/s", speeds)
	}
	c.Int("cameras", spec.Cameras, "", 1, 1000)
	if err := c.Err(); err != nil {
		return Recording{}, err
	}
	pixels := float64(spec.Raster.Columns) * float64(spec.Raster.Rows)
	raw := pixels * float64(spec.BitsPerSample) * spec.SamplesPerPixel / 8 * float64(spec.Rate.Num) / float64(spec.Rate.Den)
	r := Recording{raw: raw, camera: spec.CameraBytesPerSecond, cameras: float64(spec.Cameras)}
	if r.camera == 0 {
		r.camera = raw / spec.Compression
	}
	return r, nil
}

// BytesPerSecond is the data rate of all cameras in byte/s. Multiply by 8 for bit/s.
// With a constant ratio:
//
//	columns · rows · samples per pixel · bits per sample / 8 · cameras · rate / compression
//
// Sound, metadata, checksums and the overhead of files are not included.
func (r Recording) BytesPerSecond() float64 { return r.camera * r.cameras }

// Compression is the compression ratio: that of the Spec, or what a constant rate
// comes to. Below 1 the rate has room for more than the pixels.
func (r Recording) Compression() float64 {
	if r == (Recording{}) {
		return 0
	}
	return r.raw / r.camera
}

// Camera is the recording of one of the cameras.
func (r Recording) Camera() Recording {
	if r != (Recording{}) {
		r.cameras = 1
	}
	return r
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

// Media is how many media a take fills. Every camera has its own.
type Media struct {
	// PerCamera and All count media, the last ones of each camera not full.
	PerCamera, All int
	// Spare is how much longer the last ones last.
	Spare unit.Time
}

// Media gives how many media of so many bytes a take fills, if it goes on from one to
// the next without a break:
//
//	per camera = ceil(take · rate of a camera / bytes)
//
// Give what the camera lets be filled, less than what is printed on the medium. ok is
// false if the take is outside 1 ms to 1e9 s, the bytes outside 1 to 1e30, or a camera
// fills more than 1e6 media.
func (r Recording) Media(take unit.Time, bytes float64) (m Media, ok bool) {
	if r == (Recording{}) || !lengths.Contains(float64(take)) || !stores.Contains(bytes) {
		return Media{}, false
	}
	// A take that fills media to the last byte does not need one more by rounding.
	count := max(1, math.Ceil(float64(take)*r.camera/bytes*(1-1e-12)))
	if !(count <= 1e6) {
		return Media{}, false
	}
	m.PerCamera = int(count)
	m.All = m.PerCamera * int(r.cameras)
	m.Spare = max(0, unit.Time(count*bytes/r.camera)-take)
	return m, true
}

// Sustained says whether a link or a store keeps up with a recording.
type Sustained struct {
	// OK reports whether it does: SpareBytesPerSecond is at least 0.
	OK bool
	// SpareBytesPerSecond is what is left of its rate after the reserve and the
	// recording: what is missing if it is negative.
	SpareBytesPerSecond float64
	// Cameras is how many cameras of the kind it keeps up with.
	Cameras int
}

// Sustained compares a recording with the sustained rate of a link or a store in
// byte/s, of which a fraction is kept in reserve:
//
//	spare = rate · (1 − reserve) − BytesPerSecond
//
// For the medium of one camera, ask Recording.Camera. Take the rate that was measured
// over minutes on a store nearly full, not that of the first seconds. ok is false if the
// rate is outside 1 to 1e15 byte/s or the reserve outside 0 to less than 1.
func (r Recording) Sustained(bytesPerSecond, reserved float64) (s Sustained, ok bool) {
	if r == (Recording{}) || !speeds.Contains(bytesPerSecond) || !reserve.Contains(reserved) {
		return Sustained{}, false
	}
	usable := bytesPerSecond * (1 - reserved)
	s.SpareBytesPerSecond = usable - r.BytesPerSecond()
	s.OK = s.SpareBytesPerSecond >= 0
	count := math.Floor(min(usable/r.camera, 1e9))
	// A rounding of the quotient must not contradict OK.
	if (count+1)*r.camera <= usable && count < 1e9 {
		count++
	} else if count*r.camera > usable {
		count--
	}
	s.Cameras = int(count)
	return s, true
}
