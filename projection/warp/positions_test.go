package warp_test

import (
	"context"
	"fmt"
	"math"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func positionsOf[T float32 | float64](target warp.Target, source warp.Source) warp.Positions[T] {
	w, h := target.Size()
	p := warp.Positions[T]{Width: w, Height: h, X: make([]T, w*h), Y: make([]T, w*h)}
	for k := range p.X {
		x, y, ok := exact(target, source, float64(k%w)+0.5, float64(k/w)+0.5)
		if !ok {
			x, y = math.NaN(), math.NaN()
		}
		p.X[k], p.Y[k] = T(x), T(y)
	}
	return p
}

func fromPositions[T float32 | float64](t testing.TB, p warp.Positions[T], source warp.SourceSpec, opts warp.MapOptions) *warp.Map {
	t.Helper()
	m, err := warp.NewMapFromPositions(t.Context(), p, source, opts)
	require.NoError(t, err)
	return m
}

func TestPositionsSnyder(t *testing.T) {
	// Snyder's example of the azimuthal equidistant projection (see
	// TestAtSnyder): 100° E, 20° S at the centre of a pixel.
	camera := newFisheye(18850, 360*degree, -100*degree, 40*degree)
	camera.focal = 3000
	p := positionsOf[float64](cornered{equirect{720, 360, 0}}, camera)
	m, err := warp.NewMapFromPositions(t.Context(), p, specOf(camera), warp.MapOptions{})
	require.NoError(t, err)
	x, y, ok := m.At((100.0/360+0.5)*720+0.5, (0.5+20.0/180)*360+0.5)
	require.True(t, ok)
	ref.Within(t, "WARP-POSITIONS", math.Hypot(x-(9425-5831.1398), y-(9425-5544.4634)))
}

// cornered is a panorama whose pixel centres look where corners do in others.
type cornered struct{ equirect }

func (c cornered) Unproject(x, y float64) (vec, bool) { return c.equirect.Unproject(x-0.5, y-0.5) }

// TestPositionsHoldTheToleranceAtEveryPixel, and say so.
func TestPositionsHoldTheToleranceAtEveryPixel(t *testing.T) {
	near.NumbersOnly(t)
	for name, tc := range map[string]struct {
		target warp.Target
		source warp.Source
	}{
		"smooth":       {newView(480, 270, 60*degree, 20*degree, 10*degree, 5*degree), newFisheye(2000, 180*degree, 0, 0)},
		"edge":         {newView(480, 270, 80*degree, 80*degree, 20*degree, 0), newFisheye(2000, 180*degree, 0, 0)},
		"seam":         {newView(400, 300, 90*degree, 178*degree, 3*degree, 0), equirect{3000, 1500, 0}},
		"pole":         {newView(301, 277, 90*degree, 40*degree, 88*degree, 0), equirect{2000, 1000, 0}},
		"hole":         {flat(192, 192), disc{flat(192, 192)}},
		"narrow":       {flat(3, 5), flat(3, 5)},
		"whole sphere": {equirect{512, 256, 100}, equirect{512, 256, 0}},
	} {
		// Knowing every pixel, no more cells are stored than NewMap stores.
		stored := newMap(t, tc.target, tc.source).Report().StoredFraction
		for _, tol := range []float64{1.0 / 64, 1e-3} {
			m := fromPositions(t, positionsOf[float64](tc.target, tc.source), specOf(tc.source), warp.MapOptions{Tolerance: tol})
			_, wrap := tc.source.(equirect)
			worst, seen := worstError(t, m, tc.target, tc.source, wrap)
			r := m.Report()
			assert.LessOrEqual(t, worst, max(tol, 1e-4), name) // stored offsets are float32
			assert.LessOrEqual(t, r.LargestError, tol, name)
			assert.GreaterOrEqual(t, worst, r.LargestError-1e-9, name)
			w, h := tc.target.Size()
			assert.InDelta(t, seen, r.SeenFraction*float64(w*h), 1e-6, name)
			if tol > 1e-2 {
				assert.LessOrEqual(t, r.StoredFraction, stored, name)
			}
		}
	}
}

// TestPositionsPolesAreStored: around a pole no tolerance makes a polynomial.
func TestPositionsPolesAreStored(t *testing.T) {
	target, source := newView(96, 96, 90*degree, 0, 90*degree, 0), equirect{200, 100, 0}
	m := fromPositions(t, positionsOf[float64](target, source), specOf(source), warp.MapOptions{Tolerance: 1e6})
	for y := 40; y < 56; y++ {
		for x := 40; x < 56; x++ {
			gx, gy, _ := m.At(float64(x)+0.5, float64(y)+0.5)
			wx, wy, _ := exact(target, source, float64(x)+0.5, float64(y)+0.5)
			assert.LessOrEqual(t, math.Hypot(gx-wx, gy-wy), 1e-4, "(%d, %d)", x, y)
		}
	}
}

// TestBetweenPixels of stored cells At is bilinear, goes on beyond the last
// centre, and does not mix what lies on either side of a jump.
func TestBetweenPixels(t *testing.T) {
	const w, h = 40, 8
	p := warp.Positions[float32]{Width: w, Height: h, X: make([]float32, w*h), Y: make([]float32, w*h)}
	want := func(x, y float64) (sx, sy float64) {
		sx, sy = 100+2*x+0.25*y+0.5*x*y, 20+0.5*x+3*y
		if x >= 13 {
			sx += 500
		}
		return sx, sy
	}
	for k := range p.X {
		x, y := want(float64(k%w)+0.5, float64(k/w)+0.5)
		p.X[k], p.Y[k] = float32(x), float32(y)
	}
	p.X[3*w+30] = float32(math.NaN())
	m := fromPositions(t, p, warp.SourceSpec{Width: 2000, Height: 100}, warp.MapOptions{})
	require.Equal(t, 1.0, m.Report().StoredFraction)
	for _, q := range [][2]float64{{5.5, 4.5}, {5.9, 4.7}, {7, 3}, {0, 4.5}, {3.5, 7.9}, {40, 5.5}, {12.99, 4.5}, {12.9, 4.5}, {13.01, 4.5}, {13.2, 5.5}, {29.9, 3.5}} {
		x, y, ok := m.At(q[0], q[1])
		wx, wy := want(q[0], q[1])
		assert.True(t, ok, "%v", q)
		assert.InDeltaSlice(t, []float64{wx, wy}, []float64{x, y}, 1e-3, "%v", q)
	}
	for _, q := range [][2]float64{{30.7, 3.2}, {-0.1, 3}, {41, 3}, {3, math.NaN()}} {
		_, _, ok := m.At(q[0], q[1])
		assert.False(t, ok, "%v", q)
	}
	// The derivative is that of the plane, beside the jump and beside the hole.
	for _, q := range [][2]float64{{10.5, 4.5}, {12.5, 4.5}, {13.5, 4.5}, {31.5, 3.5}} {
		j, ok := m.Jacobian(q[0], q[1])
		assert.True(t, ok, "%v", q)
		assert.InDeltaSlice(t, []float64{2 + 0.5*q[1], 0.25 + 0.5*q[0], 0.5, 3}, []float64{j.XX, j.XY, j.YX, j.YY}, 1e-3, "%v", q)
	}
}

func TestPositionsRefuse(t *testing.T) {
	ok := warp.SourceSpec{Width: 10, Height: 10}
	four := make([]float64, 4)
	for name, tc := range map[string]struct {
		p warp.Positions[float64]
		s warp.SourceSpec
	}{
		"nothing":     {warp.Positions[float64]{}, ok},
		"short":       {warp.Positions[float64]{Width: 2, Height: 2, X: four[:3], Y: four}, ok},
		"long":        {warp.Positions[float64]{Width: 1, Height: 2, X: four, Y: four}, ok},
		"overflow":    {warp.Positions[float64]{Width: math.MaxInt, Height: math.MaxInt, X: four, Y: four}, ok},
		"source":      {warp.Positions[float64]{Width: 2, Height: 2, X: four, Y: four}, warp.SourceSpec{}},
		"vast, empty": {warp.Positions[float64]{Width: 1 << 24, Height: 1 << 10, X: four, Y: four}, ok},
		"large both":  {warp.Positions[float64]{Width: 1 << 24, Height: 1 << 24, X: four, Y: four}, ok},
	} {
		m, err := warp.NewMapFromPositions(t.Context(), tc.p, tc.s, warp.MapOptions{})
		assert.Nil(t, m, name)
		assert.ErrorIs(t, err, warp.ErrInvalid, name)
	}
	cancelled, cancel := context.WithCancel(t.Context())
	cancel()
	p := warp.Positions[float64]{Width: 2, Height: 2, X: four, Y: four}
	_, err := warp.NewMapFromPositions(cancelled, p, ok, warp.MapOptions{})
	assert.ErrorIs(t, err, context.Canceled)
	_, err = warp.NewMapFromPositions(noContext, p, ok, warp.MapOptions{})
	assert.ErrorIs(t, err, warp.ErrInvalid)
}

func ExampleNewMapFromPositions() {
	// Two pixels of a wall: one looks at the plate's pixel (10, 20), whose
	// centre is half a pixel further, the other sees nothing.
	m, err := warp.NewMapFromPositions(context.Background(), warp.Positions[float32]{
		Width: 2, Height: 1,
		X: []float32{10.5, float32(math.NaN())},
		Y: []float32{20.5, 0},
	}, warp.SourceSpec{Width: 800, Height: 800}, warp.MapOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(m.At(0.5, 0.5))
	fmt.Println(m.At(1.5, 0.5))
	// Output:
	// 10.5 20.5 true
	// 0 0 false
}

func BenchmarkNewMapFromPositions(b *testing.B) {
	p := positionsOf[float32](newView(2048, 1080, 100*degree, 0, 0, 0), newFisheye(8000, 180*degree, 0, 0))
	for b.Loop() {
		fromPositions(b, p, warp.SourceSpec{Width: 8000, Height: 8000}, warp.MapOptions{Workers: 1})
	}
	megapixels(b, 2048, 1080)
}
