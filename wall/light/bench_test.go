package light_test

import (
	"math/rand/v2"
	"testing"

	"example.com/platewright/wall"
	"example.com/platewright/wall/light"
	"gonum.org/v1/gonum/spatial/r3"
)

// A wall of 15 m by 5 m with a picture of 6000 × 2000 pixels: reading it, and the
// light on 1,000 faces over the set.
func BenchmarkPictureOnFaces(b *testing.B) {
	pic := picture(rand.New(rand.NewPCG(2, 2)), 6000, 2000)
	panel := light.Panel{Rectangle: upright(-7.5, 0, 7.5, 5), Peak: light.RGB{300, 1000, 200}, Picture: pic}
	plane := wall.Rectangle{LowerLeft: r3.Vec{X: 5, Z: 3}, LowerRight: r3.Vec{X: -5, Z: 3}, UpperLeft: r3.Vec{X: 5, Y: 2, Z: 3}}
	b.Run("read", func(b *testing.B) {
		for b.Loop() {
			scene(b, panel)
		}
		b.ReportMetric(12*float64(b.N)/b.Elapsed().Seconds(), "Mpx/s")
	})
	s := scene(b, panel)
	b.Run("1000-faces", func(b *testing.B) {
		var worst float64
		for b.Loop() {
			for _, l := range must[[]light.Light](b)(s.Map(b.Context(), plane, 50, 20)) {
				worst = max(worst, l.Error/l.RGB.Sum())
			}
		}
		b.ReportMetric(1000*float64(b.N)/b.Elapsed().Seconds(), "faces/s")
		b.ReportMetric(worst, "error")
	})
}
