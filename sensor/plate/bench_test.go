package plate_test

import (
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
