package recording_test

import (
	"image"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor"
	"example.com/platewright/sensor/recording"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

func made(t testing.TB, spec recording.Spec) recording.Recording {
	t.Helper()
	r, err := recording.New(spec)
	require.NoError(t, err)
	return r
}

// known fails the test where there is no answer and passes the value on.
func known[T any](t testing.TB) func(T, bool) T {
	return func(v T, ok bool) T {
		t.Helper()
		require.True(t, ok, "no answer")
		return v
	}
}

// A serial link sends every pixel of the raster, blanking included, at 4:2:2.
func TestSerialLinks(t *testing.T) {
	for _, tc := range []struct {
		columns, rows int
		rate          recording.Rate
		bitsPerSecond float64
	}{
		{858, 525, recording.Rate{Num: 30000, Den: 1001}, 270e6},
		{864, 625, recording.Rate{Num: 25, Den: 1}, 270e6},
		{2200, 1125, recording.Rate{Num: 30, Den: 1}, 1.485e9},
		{2200, 1125, recording.Rate{Num: 30000, Den: 1001}, 1.485e9 / 1.001},
		{2200, 1125, recording.Rate{Num: 60, Den: 1}, 2.97e9},
		{4400, 2250, recording.Rate{Num: 60, Den: 1}, 11.88e9},
	} {
		r := made(t, recording.Spec{
			Raster:          sensor.Raster{Columns: tc.columns, Rows: tc.rows},
			SamplesPerPixel: 2, BitsPerSample: 10, Rate: tc.rate,
		})
		ref.Near(t, "S-DATA-LINK", 8*r.BytesPerSecond(), tc.bitsPerSecond, tc)
	}
}

// The standard library's image buffers hold what a recorder writes. Every frame
// that begins within the take is counted.
func TestDataByImageBuffers(t *testing.T) {
	const columns, rows = 192, 108
	r := image.Rect(0, 0, columns, rows)
	planar := func(ratio image.YCbCrSubsampleRatio) int {
		m := image.NewYCbCr(r, ratio)
		return len(m.Y) + len(m.Cb) + len(m.Cr)
	}
	for _, tc := range []struct {
		name    string
		samples float64
		bits    int
		bytes   int // of a frame
	}{
		{"mosaic", 1, 8, len(image.NewGray(r).Pix)},
		{"mosaic in words", 1, 16, len(image.NewGray16(r).Pix)},
		{"4:2:0", 1.5, 8, planar(image.YCbCrSubsampleRatio420)},
		{"4:2:2", 2, 8, planar(image.YCbCrSubsampleRatio422)},
		{"4:4:4", 3, 8, planar(image.YCbCrSubsampleRatio444)},
		{"four channels in words", 4, 16, len(image.NewNRGBA64(r).Pix)},
	} {
		for _, rate := range []recording.Rate{{24, 1}, {24000, 1001}, {120000, 1001}} {
			const cameras, compression, seconds = 4, 3, 1001
			frames := 0
			for int64(frames)*rate.Den < seconds*rate.Num {
				frames++
			}
			written := float64(frames*tc.bytes*cameras) / compression
			rec := made(t, recording.Spec{
				Raster: sensor.Raster{Columns: columns, Rows: rows}, SamplesPerPixel: tc.samples, BitsPerSample: tc.bits,
				Rate: rate, Compression: compression, Cameras: cameras,
			})
			bytes, ok := rec.StoreBytes(seconds)
			require.True(t, ok)
			ref.Near(t, "S-DATA-BUFFERS", bytes, written, tc.name, rate)
			lasts, ok := rec.StoreTime(written)
			require.True(t, ok)
			ref.Near(t, "S-DATA-BUFFERS", float64(lasts), seconds, tc.name, rate)
		}
	}
}

// The documented error bound holds against exact rationals.
func TestDataIsWithinItsErrorBound(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	rates := []recording.Rate{{24, 1}, {24000, 1001}, {30000, 1001}, {120000, 1001}, {25, 2}, {math.MaxInt64, math.MaxInt64 - 2}}
	number := func(x float64) *big.Rat { return new(big.Rat).SetFloat64(x) }
	product := func(factors ...*big.Rat) float64 {
		p := big.NewRat(1, 1)
		for _, f := range factors {
			p.Mul(p, f)
		}
		f, _ := p.Float64()
		return f
	}
	for range 2000 {
		s := recording.Spec{
			Raster:          sensor.Raster{Columns: 1 + random.IntN(1<<24), Rows: 1 + random.IntN(1<<24)},
			SamplesPerPixel: []float64{1, 1.5, 2, 3, 4}[random.IntN(5)],
			BitsPerSample:   1 + random.IntN(64),
			Rate:            rates[random.IntN(len(rates))],
			Compression:     1 + 20*random.Float64(),
			Cameras:         1 + random.IntN(12),
		}
		r := made(t, s)
		rate := big.NewRat(s.Rate.Num, s.Rate.Den)
		for _, factor := range []float64{float64(s.Raster.Columns), float64(s.Raster.Rows), float64(s.BitsPerSample), s.SamplesPerPixel, float64(s.Cameras)} {
			rate.Mul(rate, number(factor))
		}
		rate.Quo(rate, number(8*s.Compression))
		near.ULP(t, "byte/s", r.BytesPerSecond(), product(rate), 9, "nine roundings at most")

		take := random.Float64() * 1e5
		bytes, ok := r.StoreBytes(unit.Time(take))
		require.True(t, ok)
		near.ULP(t, "bytes", bytes, product(rate, number(take)), 9, "nine roundings at most")

		store := math.Trunc(1e14 * random.Float64())
		lasts, ok := r.StoreTime(store)
		require.True(t, ok)
		near.ULP(t, "time", float64(lasts), product(number(store), new(big.Rat).Inv(rate)), 9, "nine roundings at most")
		back, _ := r.StoreBytes(lasts)
		near.ULP(t, "store, time, store", back, store, 2, "a division and a multiplication")
	}
}

// A constant rate is that of the camera, whatever it records; the ratio follows from
// what the pixels would take.
func TestConstantRate(t *testing.T) {
	spec := recording.Spec{
		Raster: sensor.UHD2160.Raster(), SamplesPerPixel: 2, BitsPerSample: 10, Rate: recording.Rate{Num: 60, Den: 1},
		CameraBytesPerSecond: 250e6, Cameras: 3,
	}
	r := made(t, spec)
	ref.Near(t, "S-DATA-CONSTANT", r.BytesPerSecond(), 750e6)
	ref.Near(t, "S-DATA-CONSTANT", r.Camera().BytesPerSecond(), 250e6)
	ref.Near(t, "S-DATA-CONSTANT", r.Compression()*250e6, 1244.16e6) // read as 9953280000 bit/s
	spec.Rate.Num = 120
	ref.Near(t, "S-DATA-CONSTANT", made(t, spec).Compression(), 2*r.Compression())
	assert.InEpsilon(t, 750e6, made(t, spec).BytesPerSecond(), 1e-15, "the same for twice the frames")

	spec.CameraBytesPerSecond, spec.Compression = 0, 4
	ref.Near(t, "S-DATA-CONSTANT", made(t, spec).Compression(), 4)
	ref.Near(t, "S-DATA-CONSTANT", made(t, spec).Camera().BytesPerSecond()*4, 2*1244.16e6)
	spec.CameraBytesPerSecond = 1
	_, err := recording.New(spec)
	assert.EqualError(t, err, "recording: compression with a constant rate: give the ratio or the rate, not both")
	spec.Compression, spec.CameraBytesPerSecond = 0, 0.5
	_, err = recording.New(spec)
	assert.EqualError(t, err, "recording: rate of a camera 0.5 B/s: must be at least 1 B/s and at most 1e+15 B/s")
}

// Cameras write second by second; who has no room left puts in another medium.
func TestMediaByWriting(t *testing.T) {
	for _, tc := range []struct{ rate, medium, seconds, cameras int }{
		{100, 1000, 95, 3}, {100, 1000, 100, 3}, {100, 1000, 101, 3}, {70, 1000, 1, 5}, {300, 1000, 40, 2},
	} {
		r := made(t, recording.Spec{
			Raster: sensor.UHD2160.Raster(), SamplesPerPixel: 1, BitsPerSample: 8, Rate: recording.Rate{Num: 24, Den: 1},
			CameraBytesPerSecond: float64(tc.rate), Cameras: tc.cameras,
		})
		media, room := 0, 0
		for range tc.cameras {
			media++
			room = tc.medium
			for range tc.seconds * tc.rate { // byte by byte
				if room == 0 {
					media, room = media+1, tc.medium
				}
				room--
			}
		}
		m, ok := r.Media(unit.Time(tc.seconds), float64(tc.medium))
		require.True(t, ok)
		ref.Equal(t, "S-DATA-MEDIA", m.All, media, tc)
		ref.Equal(t, "S-DATA-MEDIA", m.PerCamera*tc.cameras, media, tc)
		ref.Near(t, "S-DATA-MEDIA-SPARE", float64(m.Spare)*float64(tc.rate), float64(room), tc)
	}
	r := made(t, recording.Spec{Raster: sensor.UHD2160.Raster(), SamplesPerPixel: 1, BitsPerSample: 8, Rate: recording.Rate{Num: 24, Den: 1}})
	for _, bad := range []struct {
		take  unit.Time
		bytes float64
	}{{0, 1e12}, {1e10, 1e15}, {1, 0.5}, {1, math.NaN()}, {1e9, 1e6}} {
		m, ok := r.Media(bad.take, bad.bytes)
		assert.True(t, !ok && m == recording.Media{}, bad)
	}
}

// A buffer that fills at the rate of the recording and empties at that of the link,
// less its reserve: it does not grow where the link keeps up.
func TestSustainedByABuffer(t *testing.T) {
	for _, tc := range []struct{ cameras, link, reserved float64 }{{4, 1000, 0.2}, {4, 1000, 0.21}, {9, 1000, 0}, {1, 1000, 0.5}} {
		r := made(t, recording.Spec{
			Raster: sensor.UHD2160.Raster(), SamplesPerPixel: 1, BitsPerSample: 8, Rate: recording.Rate{Num: 24, Den: 1},
			CameraBytesPerSecond: 200, Cameras: int(tc.cameras),
		})
		const seconds = 1000
		buffer, idle, busy := 0.0, 0.0, math.Round(tc.link*(1-tc.reserved))
		for range seconds {
			buffer += 200 * tc.cameras
			sent := min(buffer, busy)
			buffer -= sent
			idle += busy - sent
		}
		s, ok := r.Sustained(tc.link, tc.reserved)
		require.True(t, ok)
		ref.Equal(t, "S-DATA-SUSTAINED", s.OK, buffer == 0, tc)
		ref.Near(t, "S-DATA-SUSTAINED-SPARE", s.SpareBytesPerSecond, (idle-buffer)/seconds, tc)
		most := 0
		for total := 200.0; total <= busy; total += 200 {
			most++
		}
		ref.Equal(t, "S-DATA-SUSTAINED", s.Cameras, most, tc)
	}
	r := made(t, recording.Spec{Raster: sensor.UHD2160.Raster(), SamplesPerPixel: 1, BitsPerSample: 8, Rate: recording.Rate{Num: 24, Den: 1}})
	for _, bad := range [][2]float64{{0, 0}, {1e16, 0}, {math.NaN(), 0}, {1e9, 1}, {1e9, -0.1}, {1e9, math.NaN()}} {
		s, ok := r.Sustained(bad[0], bad[1])
		assert.True(t, !ok && s == recording.Sustained{}, bad)
	}
}

func TestAmountsOutOfRange(t *testing.T) {
	fast := made(t, recording.Spec{Raster: sensor.UHD2160.Raster(), SamplesPerPixel: 1, BitsPerSample: 12, Rate: recording.Rate{Num: 24, Den: 1}})
	lasts, ok := fast.StoreTime(1e31) // for less than 1e30 s
	assert.False(t, ok)
	assert.Zero(t, lasts)
	slow := made(t, recording.Spec{Raster: sensor.Raster{Columns: 1, Rows: 1}, SamplesPerPixel: 1, BitsPerSample: 8, Rate: recording.Rate{Num: 1, Den: 100}})
	bytes, ok := slow.StoreBytes(1e31) // less than 1e30 bytes
	assert.False(t, ok)
	assert.Zero(t, bytes)
}

// An inverse takes whatever the function gives, to the ends of its range.
func TestInversesTakeEachOthersEnds(t *testing.T) {
	for compression := 1.0; compression < 20; compression += 0.37 {
		fast := recording.Spec{Raster: sensor.UHD4320.Raster(), SamplesPerPixel: 1, BitsPerSample: 12, Rate: recording.Rate{Num: 24000, Den: 1001}, Compression: compression}
		r := made(t, fast)
		lasts, ok := r.StoreTime(1e30)
		require.True(t, ok)
		assert.InEpsilon(t, 1e30, known[float64](t)(r.StoreBytes(lasts)), 1e-15, "two roundings")
		_, ok = r.StoreBytes(1e30)
		assert.False(t, ok, "a take that needs more bytes than StoreTime takes")
		slow := fast
		slow.Raster, slow.Rate = sensor.Raster{Columns: 1, Rows: 1}, recording.Rate{Num: 1, Den: math.MaxInt64}
		r = made(t, slow)
		lasts, ok = r.StoreTime(known[float64](t)(r.StoreBytes(1e30)))
		require.True(t, ok)
		assert.InEpsilon(t, 1e30, float64(lasts), 1e-15, "two roundings")
		_, ok = r.StoreTime(1e30)
		assert.False(t, ok, "a store that lasts longer than StoreBytes takes")
	}
}

func FuzzRecording(f *testing.F) {
	f.Add(8192, 4320, 1.0, 12, int64(24000), int64(1001), 3.0, 4, 8e12)
	f.Add(1, 1, 0.25, 1, int64(1), int64(math.MaxInt64), 1000.0, 1000, math.MaxFloat64)
	f.Add(0, -1, math.NaN(), 65, int64(math.MinInt64), int64(0), math.Inf(1), -1, math.Inf(-1))
	f.Fuzz(func(t *testing.T, c, r int, samples float64, bits int, num, den int64, compression float64, cameras int, store float64) {
		rec, err := recording.New(recording.Spec{
			Raster: sensor.Raster{Columns: c, Rows: r}, SamplesPerPixel: samples, BitsPerSample: bits,
			Rate: recording.Rate{Num: num, Den: den}, Compression: compression, Cameras: cameras,
		})
		lasts, ok := rec.StoreTime(store)
		switch {
		case err != nil && ok:
			t.Error("a time without a recording")
		case ok && !(lasts >= 0 && !math.IsInf(float64(lasts), 0)):
			t.Errorf("%v bytes last %v s", store, float64(lasts))
		case err == nil && !(rec.BytesPerSecond() > 0 && !math.IsInf(rec.BytesPerSecond(), 0)):
			t.Errorf("%v byte/s", rec.BytesPerSecond())
		}
		if back, ok2 := rec.StoreBytes(lasts); ok && ok2 && store > 1e-280 && lasts > 1e-280 {
			assert.InEpsilon(t, store, back, 1e-15, "two roundings")
		}
	})
}

// A link that has just enough by rounding is told the same by OK and by Cameras.
func TestSustainedDoesNotContradictItself(t *testing.T) {
	random := rand.New(rand.NewPCG(21, 22))
	for range 20000 {
		rate, cameras, reserved := 1e9*random.Float64()+1, 1+random.IntN(9), random.Float64()
		r := made(t, recording.Spec{
			Raster: sensor.UHD2160.Raster(), SamplesPerPixel: 1, BitsPerSample: 8, Rate: recording.Rate{Num: 24, Den: 1},
			CameraBytesPerSecond: rate, Cameras: cameras,
		})
		s, ok := r.Sustained(rate*float64(cameras)/(1-reserved), reserved)
		require.True(t, ok)
		require.Equal(t, s.OK, s.Cameras >= cameras, "%d cameras of %v B/s", cameras, rate)
	}
}
