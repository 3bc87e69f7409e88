package pattern_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall/pattern"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/unit"
)

const degree unit.Angle = math.Pi / 180

// grating is an even field with a sinusoid of 2 % and some noise.
func grating(w, h int, f r2.Vec) pattern.Plane[float32] {
	rng := rand.New(rand.NewPCG(1, 2))
	p := pattern.Plane[float32]{Pix: make([]float32, w*h), Width: w, Height: h}
	for i := range p.Pix {
		p.Pix[i] = float32(0.4 * (1 + 0.02*math.Cos(2*math.Pi*(f.X*float64(i%w)+f.Y*float64(i/w))) + 0.01*rng.NormFloat64()))
	}
	return p
}

func TestPeriodAndDirection(t *testing.T) {
	p := pattern.Pattern{Frequency: r2.Vec{X: 0.03, Y: 0.04}, Spread: r2.Vec{X: 1e-4, Y: 3e-4}}
	ref.Near(t, "W-PAT-PERIOD", p.Period().Value, 20)
	direction, u := p.Direction()
	ref.Near(t, "W-PAT-DIRECTION", direction, 53.13010235415598*degree)

	// Their scatter, if the components of the frequency scatter.
	rng := rand.New(rand.NewPCG(3, 4))
	var periods, angles float64
	const n = 20000
	for range n {
		q := p
		q.Frequency.X += p.Spread.X * rng.NormFloat64()
		q.Frequency.Y += p.Spread.Y * rng.NormFloat64()
		periods += math.Pow(q.Period().Value-20, 2) / n
		d, _ := q.Direction()
		angles += math.Pow(float64(d-direction), 2) / n
	}
	assert.InEpsilon(t, math.Sqrt(periods), p.Period().Uncertainty, 0.03, "scatter of 20000")
	assert.InEpsilon(t, math.Sqrt(angles), float64(u), 0.03, "scatter of 20000")
}

// Frequencies of both signs, in a picture that is not square, and strides.
func TestWhichWayPatternsRun(t *testing.T) {
	for _, f := range []r2.Vec{{X: 0.13, Y: 0.21}, {X: 0.13, Y: -0.21}, {X: 0.3, Y: 0.05}, {X: 0, Y: 0.22}, {X: 0.22, Y: 0}} {
		dense := grating(160, 96, f)
		p := pattern.Plane[float32]{Pix: make([]float32, 96*500), Width: 160, Height: 96, Stride: 500, Step: 3}
		for i, v := range dense.Pix {
			p.Pix[i/160*500+i%160*3] = v
		}
		m, err := pattern.MeasurePatterns(p, pattern.Spec{Tile: 32, Expected: []r2.Vec{{X: 0.4, Y: 0.4}, {X: 1 - f.X, Y: -f.Y}}})
		require.NoError(t, err)
		require.Len(t, m.Found, 1, "%v", f)
		got := m.Found[0]
		d := apart(got.Frequency, f)
		assert.Less(t, math.Abs(d.X), 4*got.Spread.X)
		assert.Less(t, math.Abs(d.Y), 4*got.Spread.Y)
		assert.Less(t, got.Spread.X, 5e-4)
		assert.InDelta(t, 0.02, got.Contrast.Value, 4*got.Contrast.Uncertainty)
		assert.Equal(t, 1, got.Prediction)
		assert.Equal(t, pattern.Region{Width: 160, Height: 96}, got.Region)
		assert.Equal(t, 15, m.Tiles)

		m, err = pattern.MeasurePatterns(p, pattern.Spec{Tile: 32, Limit: 0.03, Expected: []r2.Vec{f}})
		require.NoError(t, err)
		assert.Empty(t, m.Found, "below the limit")
	}
}

// A pattern in one quarter of the picture is found there.
func TestWherePatternsAre(t *testing.T) {
	whole, even := grating(256, 256, r2.Vec{X: 0.2, Y: 0.1}), grating(256, 256, r2.Vec{})
	for i := range whole.Pix {
		if i%256 < 128 || i/256 >= 128 {
			whole.Pix[i] = even.Pix[i]
		}
	}
	m, err := pattern.MeasurePatterns(whole, pattern.Spec{Tile: 32})
	require.NoError(t, err)
	require.Len(t, m.Found, 1)
	assert.Equal(t, pattern.Region{X: 128, Width: 128, Height: 128}, m.Found[0].Region)
	assert.Equal(t, -1, m.Found[0].Prediction)
	assert.InDelta(t, 0.02, m.Found[0].Contrast.Value, 4*m.Found[0].Contrast.Uncertainty)
	assert.Less(t, m.Found[0].FalseAlarm, 1e-4)
}

// The unit of light does not matter.
func TestUnitOfLight(t *testing.T) {
	p := grating(128, 128, r2.Vec{X: 0.2, Y: 0.1})
	var want []pattern.Pattern
	for _, unit := range []float64{1, 1e-200, 1e30} {
		m, err := pattern.MeasurePatterns(p, pattern.Spec{Tile: 32, Linear: func(code float64) float64 { return unit * code }})
		require.NoError(t, err)
		require.Len(t, m.Found, 1, "%g", unit)
		if want == nil {
			want = m.Found
		}
		assert.Empty(t, cmp.Diff(want, m.Found, cmpopts.EquateApprox(1e-6, 0)), "%g", unit)
	}
}

// Two edges, a lamp, a ramp: nothing of them repeats.
func TestNoPatternInEdges(t *testing.T) {
	p := grating(256, 256, r2.Vec{})
	for i := range p.Pix {
		x, y := float64(i%256), float64(i/256)
		if x+0.3*y > 150 {
			p.Pix[i] *= 2
		}
		if y > 100 {
			p.Pix[i] *= 0.5
		}
		if math.Hypot(x-60, y-40) < 9 {
			p.Pix[i] = 0.9
		}
		p.Pix[i] *= float32(0.7 + x/1000)
	}
	m, err := pattern.MeasurePatterns(p, pattern.Spec{Tile: 64})
	require.NoError(t, err)
	assert.Empty(t, m.Found)
}

func TestPatternsRefused(t *testing.T) {
	good := grating(128, 128, r2.Vec{X: 0.2})
	change := func(f func(i int, v float32) float32) pattern.Plane[float32] {
		p := good
		p.Pix = make([]float32, len(good.Pix))
		for i, v := range good.Pix {
			p.Pix[i] = f(i, v)
		}
		return p
	}
	nan := float32(math.NaN())
	for name, tc := range map[string]struct {
		picture pattern.Plane[float32]
		spec    pattern.Spec
		want    string
	}{
		"small":     {grating(127, 128, r2.Vec{}), pattern.Spec{}, "must have at least 128 columns and rows"},
		"constant":  {change(func(int, float32) float32 { return 0.4 }), pattern.Spec{}, "picture 0 tiles: must have at least 3 tiles of 64 × 64 px that have light"},
		"black":     {change(func(int, float32) float32 { return 0 }), pattern.Spec{}, "picture 0 tiles"},
		"below 0":   {change(func(_ int, v float32) float32 { return -v }), pattern.Spec{}, "picture 0 tiles"},
		"clipped":   {change(func(i int, v float32) float32 { return max(v, float32(1-i/128%8)) }), pattern.Spec{}, "picture 0 tiles"},
		"white":     {good, pattern.Spec{White: 0.2}, "picture 0 tiles"},
		"NaN":       {change(func(i int, v float32) float32 { return map[bool]float32{true: nan, false: v}[i == 128*70+99] }), pattern.Spec{}, "column 99, row 70"},
		"tile":      {good, pattern.Spec{Tile: 48}, "tile 48 px: must be 32, 64, 128, 256 or 512"},
		"limit":     {good, pattern.Spec{Limit: -1}, "limit -1"},
		"alarm":     {good, pattern.Spec{FalseAlarm: 1}, "false alarm 1"},
		"expected":  {good, pattern.Spec{Expected: []r2.Vec{{}, {X: 2}}}, "expected[1].x 2"},
		"tolerance": {good, pattern.Spec{Tolerance: 1}, "tolerance 1"},
	} {
		if tc.spec.Tile == 0 {
			tc.spec.Tile = 64
		}
		_, err := pattern.MeasurePatterns(tc.picture, tc.spec)
		assert.ErrorIs(t, err, pattern.ErrInvalid, name)
		assert.ErrorContains(t, err, tc.want, name)
	}
	// One clipped tile is left out.
	m, err := pattern.MeasurePatterns(change(func(i int, v float32) float32 {
		if i == 0 {
			return 1
		}
		return v
	}), pattern.Spec{Tile: 32})
	require.NoError(t, err)
	assert.Equal(t, [2]int{15, 1}, [2]int{m.Tiles, m.LeftOut})
	assert.Len(t, m.Found, 1)
}

func TestHostileArguments(t *testing.T) {
	frame := grating(64, 64, r2.Vec{X: 0.3, Y: 0.2})
	bytes := pattern.Plane[uint8]{Pix: make([]uint8, 64*64), Width: 64, Height: 64}
	for i, v := range frame.Pix {
		bytes.Pix[i] = uint8(200 * v)
	}
	found := pattern.Pattern{Frequency: r2.Vec{X: 0.3, Y: 0.2}, Spread: r2.Vec{X: 1e-3, Y: 1e-3}}
	hostile.Calls(t, []any{frame, bytes, found, pattern.Spec{Tile: 32, Expected: []r2.Vec{{X: 0.3, Y: 0.2}}}},
		pattern.MeasurePatterns[float32], pattern.MeasurePatterns[uint8])
}
