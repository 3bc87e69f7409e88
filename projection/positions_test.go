package projection_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	firstCounting = projection.CountIntegerCentres
	lastCounting  = projection.CountMinusOneToOneUp
)

func TestCountingOfOthers(t *testing.T) {
	const w, h = 640, 480
	check := func(id string, c projection.Counting, x, y, u, v float64) {
		t.Helper()
		gotU, gotV, ok := c.FromRaster(w, h, x, y)
		gotX, gotY, ok2 := c.ToRaster(w, h, u, v)
		if !ok || !ok2 {
			t.Errorf("counting %d: none", c)
		}
		ref.Equal(t, id, [2]float64{gotU, gotV}, [2]float64{u, v}, c)
		ref.Equal(t, id, [2]float64{gotX, gotY}, [2]float64{x, y}, c)
	}
	// The middle of the raster, and a principal point there.
	check("P-CNT-1", projection.CountIntegerCentres, w/2, h/2, 319.5, 239.5)
	check("P-CNT-1", projection.CountIntegerCentres, 0.5, 0.5, 0, 0)
	// The viewport of w × h: its window coordinates are px upwards from the bottom
	// left corner, x = (w/2) u + w/2.
	for _, win := range [][2]float64{{0, 0}, {w, h}, {480, 60}, {0, h}} {
		u, v := (win[0]-320)/320, (win[1]-240)/240
		check("P-CNT-2", projection.CountMinusOneToOneUp, win[0], h-win[1], u, v)
		// Upside down where y leads down.
		check("P-CNT-4", projection.CountMinusOneToOneDown, win[0], win[1], u, v)
	}
	// Texel 80, 90 from the bottom left begins at (80/640, 90/480), 90 rows of 480
	// above the bottom edge.
	check("P-CNT-3", projection.CountZeroToOneUp, 80, 390, 0.125, 0.1875)
	check("P-CNT-3", projection.CountZeroToOneDown, 80, 90, 0.125, 0.1875)
}

// Ways there and back, corners where the names say, and no answer to what is none.
func TestCounting(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	for c := firstCounting; c <= lastCounting; c++ {
		for range 200 {
			w, h := 1+rng.IntN(9000), 1+rng.IntN(9000)
			x, y := float64(w)*(3*rng.Float64()-1), float64(h)*(3*rng.Float64()-1)
			u, v, _ := c.FromRaster(w, h, x, y)
			x2, y2, ok := c.ToRaster(w, h, u, v)
			if !ok {
				t.Errorf("counting %d: no way back", c)
			}
			near.Abs(t, fmt.Sprint(c), math.Hypot(x2-x, y2-y), 0, 1e-15*float64(w+h)*3, "roundings")
		}
		for _, s := range [][2]int{{0, 5}, {5, -1}, {1<<24 + 1, 5}} {
			if u, v, ok := c.FromRaster(s[0], s[1], 1, 1); ok || u != 0 || v != 0 {
				t.Errorf("counting %d on %v: %v, %v", c, s, u, v)
			}
		}
		for _, p := range [][2]float64{{math.NaN(), 1}, {1, math.Inf(1)}} {
			u, v, ok := c.FromRaster(5, 5, p[0], p[1])
			x, y, ok2 := c.ToRaster(5, 5, p[0], p[1])
			if ok || ok2 || u != 0 || v != 0 || x != 0 || y != 0 {
				t.Errorf("counting %d of %v: %v, %v, %v, %v", c, p, u, v, x, y)
			}
		}
	}
	for _, c := range []projection.Counting{0, lastCounting + 1} {
		if _, _, ok := c.FromRaster(5, 5, 1, 1); ok {
			t.Errorf("counting %d", c)
		}
		if _, _, ok := c.ToRaster(5, 5, 1, 1); ok {
			t.Errorf("counting %d", c)
		}
	}
}

// A tracker that counts from the centre of the top left pixel has found a buoy.
func ExampleCounting() {
	bow, err := projection.NewCamera(projection.CameraSpec{
		Model: projection.Equidistant, FocalX: 2000, FocalY: 2000, Width: 6144, Height: 6144,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	width, height := bow.Size()
	x, y, _ := projection.CountIntegerCentres.ToRaster(width, height, 3071.5, 3071.5)
	buoy, _ := bow.Unproject(x, y)
	fmt.Println("dead ahead:", buoy == r3.Vec{Z: -1})
	u, v, _ := projection.CountZeroToOneUp.FromRaster(width, height, x, 1536)
	fmt.Println("in a texture, a quarter below the top:", u, v)
	// Output:
	// dead ahead: true
	// in a texture, a quarter below the top: 0.5 0.75
}
