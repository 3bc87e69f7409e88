package plate_test

import (
	"math/rand/v2"
	"testing"

	"example.com/platewright/sensor/plate"
)

// One channel of a frame of 4096 × 2160 px.
func BenchmarkLevelMeter(b *testing.B) {
	b.Run("uint16", func(b *testing.B) { benchLevels[uint16](b, 1) })
	b.Run("uint16 of three channels", func(b *testing.B) { benchLevels[uint16](b, 3) })
	b.Run("uint8", func(b *testing.B) { benchLevels[uint8](b, 1) })
	b.Run("float32", func(b *testing.B) { benchLevels[float32](b, 1) })
}

func benchLevels[T plate.Sample](b *testing.B, step int) {
	const w, h = 4096, 2160
	p := plate.Plane[T]{Pix: make([]T, w*h*step), Width: w, Height: h, Step: step}
	for i := range p.Pix {
		p.Pix[i] = T(uint32(i)*2654435761>>27 + uint32(i/step%w)*7) // noise on a ramp
	}
	m, err := plate.NewLevelMeter[T](plate.LevelSpec{})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if err := m.Add(p); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(w*h*b.N)/b.Elapsed().Seconds()/1e6, "Mpx/s")
}

// Frames of 4096 × 2160 px of a ramp with noise of 1 %.
func BenchmarkMeasure(b *testing.B) {
	const w, h = 4096, 2160
	p := record[uint16](rand.New(rand.NewPCG(1, 1)), w, h, full16, func(x, y int) float64 { return 0.1 + 0.8*float64(x)/w }, constant(0.01))
	defects, err := plate.NewDefectMeter[uint16](plate.DefectSpec{})
	if err != nil {
		b.Fatal(err)
	}
	for _, m := range []struct {
		name    string
		measure func() error
	}{
		{"defects", func() error { return defects.Add(p) }},
		{"noise", func() error { return second(plate.MeasureNoise(p, plate.LightSpec{})) }},
		{"flare", func() error { return second(plate.MeasureFlare(p, plate.FlareSpec{})) }},
		{"light", func() error { return second(plate.MeasureLight(p, plate.LightSpec{})) }},
	} {
		b.Run(m.name, func(b *testing.B) {
			for b.Loop() {
				if err := m.measure(); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(w*h*b.N)/b.Elapsed().Seconds()/1e6, "Mpx/s")
		})
	}
}
