package sensor_test

import (
	"image"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/unit"
)

func recording(t testing.TB, spec sensor.RecordingSpec) sensor.Recording {
	t.Helper()
	r, err := sensor.NewRecording(spec)
	require.NoError(t, err)
	return r
}

// A serial link sends every pixel of the raster, blanking included, at 4:2:2.
func TestSerialLinks(t *testing.T) {
	for _, tc := range []struct {
		columns, rows int
		rate          sensor.Rate
		bitsPerSecond float64
	}{
		{858, 525, sensor.Rate{Num: 30000, Den: 1001}, 270e6},
		{864, 625, sensor.Rate{Num: 25, Den: 1}, 270e6},
		{2200, 1125, sensor.Rate{Num: 30, Den: 1}, 1.485e9},
		{2200, 1125, sensor.Rate{Num: 30000, Den: 1001}, 1.485e9 / 1.001},
		{2200, 1125, sensor.Rate{Num: 60, Den: 1}, 2.97e9},
		{4400, 2250, sensor.Rate{Num: 60, Den: 1}, 11.88e9},
	} {
		r := recording(t, sensor.RecordingSpec{
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
		for _, rate := range []sensor.Rate{{24, 1}, {24000, 1001}, {120000, 1001}} {
			const cameras, compression, seconds = 4, 3, 1001
			frames := 0
			for int64(frames)*rate.Den < seconds*rate.Num {
				frames++
			}
			written := float64(frames*tc.bytes*cameras) / compression
			rec := recording(t, sensor.RecordingSpec{
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
	rates := []sensor.Rate{{24, 1}, {24000, 1001}, {30000, 1001}, {120000, 1001}, {25, 2}, {math.MaxInt64, math.MaxInt64 - 2}}
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
		s := sensor.RecordingSpec{
			Raster:          sensor.Raster{Columns: 1 + random.IntN(1<<24), Rows: 1 + random.IntN(1<<24)},
			SamplesPerPixel: []float64{1, 1.5, 2, 3, 4}[random.IntN(5)],
			BitsPerSample:   1 + random.IntN(64),
			Rate:            rates[random.IntN(len(rates))],
			Compression:     1 + 20*random.Float64(),
			Cameras:         1 + random.IntN(12),
		}
		r := recording(t, s)
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

func TestAmountsOutOfRange(t *testing.T) {
	fast := recording(t, sensor.RecordingSpec{Raster: sensor.UHD2160.Raster(), SamplesPerPixel: 1, BitsPerSample: 12, Rate: sensor.Rate{Num: 24, Den: 1}})
	lasts, ok := fast.StoreTime(1e31) // for less than 1e30 s
	assert.False(t, ok)
	assert.Zero(t, lasts)
	slow := recording(t, sensor.RecordingSpec{Raster: sensor.Raster{Columns: 1, Rows: 1}, SamplesPerPixel: 1, BitsPerSample: 8, Rate: sensor.Rate{Num: 1, Den: 100}})
	bytes, ok := slow.StoreBytes(1e31) // less than 1e30 bytes
	assert.False(t, ok)
	assert.Zero(t, bytes)
}

func FuzzRecording(f *testing.F) {
	f.Add(8192, 4320, 1.0, 12, int64(24000), int64(1001), 3.0, 4, 8e12)
	f.Add(1, 1, 0.25, 1, int64(1), int64(math.MaxInt64), 1000.0, 1000, math.MaxFloat64)
	f.Add(0, -1, math.NaN(), 65, int64(math.MinInt64), int64(0), math.Inf(1), -1, math.Inf(-1))
	f.Fuzz(func(t *testing.T, c, r int, samples float64, bits int, num, den int64, compression float64, cameras int, store float64) {
		rec, err := sensor.NewRecording(sensor.RecordingSpec{
			Raster: sensor.Raster{Columns: c, Rows: r}, SamplesPerPixel: samples, BitsPerSample: bits,
			Rate: sensor.Rate{Num: num, Den: den}, Compression: compression, Cameras: cameras,
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
