package sensor_test

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor"
	"gonum.org/v1/gonum/unit"
)

func recording(t testing.TB, spec sensor.RecordingSpec) sensor.Recording {
	t.Helper()
	r, err := sensor.NewRecording(spec)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestDataRates(t *testing.T) {
	for _, tc := range []struct {
		columns, rows int
		samples       float64
		bits          int
		fps           int64
		bitRate, MBps float64
	}{
		{8192, 4320, 1, 12, 30, 12740198400, 1592.5248},
		{6144, 3240, 1, 16, 24, 7644119040, 955.51488},
		{7680, 4320, 1, 12, 60, 23887872000, 2985.984},
		{4096, 2160, 3, 12, 24, 7644119040, 955.51488},
		{3840, 2160, 2, 10, 60, 9953280000, 1244.16},
	} {
		r := recording(t, sensor.RecordingSpec{
			Raster:          sensor.Raster{Columns: tc.columns, Rows: tc.rows},
			SamplesPerPixel: tc.samples, BitsPerSample: tc.bits, Rate: sensor.FrameRate{Num: tc.fps, Den: 1},
		})
		ref.Near(t, "sensor-data-rate", r.BitsPerSecond(), tc.bitRate, tc)
		ref.Near(t, "sensor-data-rate", r.BytesPerSecond(), math.Round(tc.MBps*1e6), tc)
	}
}

func TestDataAgreesWithExactRationals(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	rates := []sensor.FrameRate{{24, 1}, {24000, 1001}, {30000, 1001}, {120000, 1001}, {25, 2}, {math.MaxInt64, math.MaxInt64 - 2}}
	whole := func(n int) *big.Rat { return new(big.Rat).SetInt64(int64(n)) }
	product := func(a *big.Rat, more ...*big.Rat) float64 {
		p := new(big.Rat).Set(a)
		for _, m := range more {
			p.Mul(p, m)
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
		seconds := unit.Time(random.Float64() * 1e5)
		samples := new(big.Rat).SetFloat64(s.SamplesPerPixel)
		by := new(big.Rat).SetFloat64(s.Compression)
		take := new(big.Rat).SetFloat64(float64(seconds))
		fps := big.NewRat(s.Rate.Num, s.Rate.Den)
		bits := []*big.Rat{whole(s.Raster.Columns), whole(s.Raster.Rows), whole(s.BitsPerSample), samples, whole(s.Cameras), by.Inv(by)}
		ref.Near(t, "sensor-data-rational", r.BitsPerSecond(), product(fps, bits...), s)
		ref.Near(t, "sensor-data-rational", r.BytesPerSecond(), product(fps, append(bits, big.NewRat(1, 8))...), s)
		got, ok := r.StoreBytes(seconds)
		if !ok {
			t.Fatal("no answer")
		}
		ref.Near(t, "sensor-data-rational", got, product(fps, append(bits, big.NewRat(1, 8), take)...), s)

		store := math.Trunc(1e14 * random.Float64())
		lasts, ok := r.StoreTime(store)
		if !ok {
			t.Fatal("no answer")
		}
		rate := new(big.Rat).Set(fps)
		for _, b := range bits {
			rate.Mul(rate, b)
		}
		ref.Near(t, "sensor-data-rational", float64(lasts), product(new(big.Rat).SetFloat64(store), big.NewRat(8, 1), rate.Inv(rate)), s)
		back, _ := r.StoreBytes(lasts)
		near.ULP(t, "store, time, store", back, store, 2, "a division and a multiplication")
	}
}

// Twice the cameras, or half the compression, is twice the data.
func TestDataProportions(t *testing.T) {
	one := sensor.RecordingSpec{Raster: sensor.UHD4320.Raster(), SamplesPerPixel: 1, BitsPerSample: 12, Rate: sensor.FrameRate{Num: 24000, Den: 1001}}
	base := recording(t, one).BitsPerSecond()
	four := one
	four.Cameras = 4
	if got := recording(t, four).BitsPerSecond(); got != 4*base {
		t.Errorf("four cameras: %v, want %v", got, 4*base)
	}
	packed := one
	packed.Compression = 8
	if got := recording(t, packed).BitsPerSecond(); got != base/8 {
		t.Errorf("compressed 8 times: %v, want %v", got, base/8)
	}
	// 23.976 for 24000/1001 would be off by 1 ppm: 24 frames in a second and
	// 1001 seconds are exactly 24000 frames.
	bytes, _ := recording(t, one).StoreBytes(1001)
	near.ULP(t, "1001 s", bytes, 24000*7680*4320*1.5, 9, "nine roundings")
}

func FuzzRecording(f *testing.F) {
	f.Add(8192, 4320, 1.0, 12, int64(24000), int64(1001), 3.0, 4, 8e12)
	f.Add(1, 1, 0.25, 1, int64(1), int64(math.MaxInt64), 1000.0, 1000, math.MaxFloat64)
	f.Add(0, -1, math.NaN(), 65, int64(math.MinInt64), int64(0), math.Inf(1), -1, math.Inf(-1))
	f.Fuzz(func(t *testing.T, c, r int, samples float64, bits int, num, den int64, by float64, cameras int, store float64) {
		rec, err := sensor.NewRecording(sensor.RecordingSpec{
			Raster: sensor.Raster{Columns: c, Rows: r}, SamplesPerPixel: samples, BitsPerSample: bits,
			Rate: sensor.FrameRate{Num: num, Den: den}, Compression: by, Cameras: cameras,
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
			near.Rel(t, "store, time, store", back, store, 1e-15, "two roundings")
		}
	})
}
