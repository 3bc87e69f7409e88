package pattern_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall/pattern"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r2"
)

// A wall of 3 × 2 panels, turned in the picture, each with a light and a colour of its
// own, under a slow falloff; noise is independent or correlated over two pixels.
func TestUniformityOfWalls(t *testing.T) {
	near.NumbersOnly(t)
	const w, h, columns, rows = 480, 320, 4, 3
	var means, ratios, steps tally
	for seed := range max(4, *scenes/4) {
		rng := rand.New(rand.NewPCG(uint64(seed), 7))
		sin, cos := math.Sincos(0.2 * (rng.Float64() - 0.5))
		if seed%4 == 0 {
			sin, cos = 0, 1
		}
		middle := r2.Vec{X: 225 + 30*rng.Float64(), Y: 145 + 30*rng.Float64()}
		var gains [3][3][2]float64 // by channel, column and row
		for k := range 3 {
			for i := range 3 {
				for j := range 2 {
					gains[k][i][j] = (0.5 + 0.2*float64(k)) * (1 + 0.01*rng.NormFloat64())
				}
			}
		}
		slope := r2.Vec{X: 4e-4 * (rng.Float64() - 0.5), Y: 4e-4 * (rng.Float64() - 0.5)}
		// Where a pixel lies on the wall: panels are 150 pixels wide.
		onWall := func(x, y float64) (u, v float64) {
			x, y = x-middle.X, y-middle.Y
			return x*cos + y*sin, y*cos - x*sin
		}
		truth := func(k int, x, y float64) float64 {
			u, v := onWall(x, y)
			i, j := 0, 0
			if u > -75 {
				i++
			}
			if u > 75 {
				i++
			}
			if v > 0 {
				j++
			}
			d := r2.Vec{X: x - w/2, Y: y - h/2}
			return gains[k][i][j] * (1 + r2.Dot(slope, d) - r2.Norm2(d)/4e6)
		}
		planes := make([]pattern.Plane[uint16], 3)
		for k := range planes {
			planes[k] = pattern.Plane[uint16]{Pix: make([]uint16, w*h), Width: w, Height: h}
			noise := make([]float64, w*h)
			for i := range noise {
				noise[i] = rng.NormFloat64()
			}
			for i := range noise {
				n := noise[i]
				if seed%3 == 0 && i+w+1 < len(noise) {
					n = (n + noise[i+1] + noise[i+w] + noise[i+w+1]) / 2
				}
				planes[k].Pix[i] = uint16(math.Round(30000 * truth(k, float64(i%w)+0.5, float64(i/w)+0.5) * (1 + 0.01*n)))
			}
		}
		at := func(u, v float64) r2.Vec {
			return r2.Vec{X: middle.X + u*cos - v*sin, Y: middle.Y + u*sin + v*cos}
		}
		m, err := pattern.MeasureUniformity(planes, pattern.UniformitySpec{Columns: columns, Rows: rows, Joints: []pattern.Joint{
			{From: at(-75, -16), To: at(-75, -110)}, // up: right of it is the second panel
			{From: at(75, 16), To: at(75, 110)},     // down: right of it is again the second
			{From: at(-59, 0), To: at(59, 0)},       // to the right: right of it is the lower row
		}})
		require.NoError(t, err)
		for j, row := range m.Regions {
			for i, l := range row {
				require.Equal(t, pattern.Region{X: i * w / columns, Y: j * h / rows, Width: w / columns, Height: (j+1)*h/rows - j*h/rows}, l.Region)
				var sums [3]float64
				for y := l.Region.Y; y < l.Region.Y+l.Region.Height; y++ {
					for x := l.Region.X; x < l.Region.X+l.Region.Width; x++ {
						for k := range sums {
							sums[k] += 30000 * truth(k, float64(x)+0.5, float64(y)+0.5) / float64(l.Region.Width*l.Region.Height)
						}
					}
				}
				for k := range sums {
					means.add(t, "mean", l.Mean[k].Value, l.Mean[k].Uncertainty, sums[k])
					if k > 0 {
						ratios.add(t, "ratio", l.Ratio[k].Value, l.Ratio[k].Uncertainty, sums[k]/sums[0])
					}
				}
			}
		}
		for k := range 3 {
			g := gains[k]
			for i, pair := range [][2]float64{{g[0][0], g[1][0]}, {g[2][1], g[1][1]}, {g[1][0], g[1][1]}} {
				e := m.Steps[i][k]
				steps.add(t, "step", e.Value, e.Uncertainty, 2*(pair[1]-pair[0])/(pair[1]+pair[0]))
			}
		}
	}
	for what, y := range map[string]*tally{"mean": &means, "ratio": &ratios, "step": &steps} {
		out, bias := y.judge(t, what)
		ref.Within(t, "W-UNI-WITHIN", out, what)
		ref.Within(t, "W-UNI-BIAS", bias, what)
	}
}

// A dark frame: the means are the black level, and there is no colour.
func TestBlackLevel(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	p := pattern.Plane[float32]{Pix: make([]float32, 96*48), Width: 96, Height: 48}
	for i := range p.Pix {
		p.Pix[i] = float32(1e-4 + 0.002*rng.NormFloat64())
		if i%96 >= 48 {
			p.Pix[i] += 0.001
		}
	}
	m, err := pattern.MeasureUniformity([]pattern.Plane[float32]{p, p}, pattern.UniformitySpec{Columns: 2, Rows: 1})
	require.NoError(t, err)
	left, right := m.Regions[0][0], m.Regions[0][1]
	u := 0.002 / 48
	assert.InEpsilon(t, u, left.Mean[0].Uncertainty, 0.3, "48 differences of 36 blocks")
	assert.InDelta(t, 1e-4, left.Mean[0].Value, 3*u)
	assert.InDelta(t, 1.1e-3, right.Mean[1].Value, 3*u)
	assert.InEpsilon(t, 0.002, right.Spread[0], 0.1, "2304 samples: 1.5 %")
	assert.Nil(t, left.Ratio)
	assert.Len(t, right.Ratio, 2)
	assert.Equal(t, pattern.Estimate{Value: 1}, right.Ratio[0])
}

func TestUniformityRefused(t *testing.T) {
	good := grating(128, 96, r2.Vec{})
	change := func(i int, v float32) pattern.Plane[float32] {
		p := good
		p.Pix = append([]float32{}, p.Pix...)
		p.Pix[i] = v
		return p
	}
	grid := pattern.UniformitySpec{Columns: 2, Rows: 2}
	joint := func(x0, y0, x1, y1 float64) pattern.UniformitySpec {
		return pattern.UniformitySpec{Columns: 2, Rows: 2, Joints: []pattern.Joint{{From: r2.Vec{X: x0, Y: y0}, To: r2.Vec{X: x1, Y: y1}}}}
	}
	black := grating(128, 96, r2.Vec{})
	for i := range black.Pix {
		black.Pix[i] = 0
	}
	for name, tc := range map[string]struct {
		planes []pattern.Plane[float32]
		spec   pattern.UniformitySpec
		want   string
	}{
		"none":       {nil, grid, "planes 0"},
		"small":      {[]pattern.Plane[float32]{good}, pattern.UniformitySpec{Columns: 3, Rows: 2}, "picture 128 × 96 px: must have at least 48 columns and rows for each region"},
		"two sizes":  {[]pattern.Plane[float32]{good, grating(128, 97, r2.Vec{})}, grid, "planes[1] 128 × 97 px: must be as large as the first, 128 × 96 px"},
		"NaN":        {[]pattern.Plane[float32]{good, change(128*95+127, float32(math.NaN()))}, grid, "column 127, row 95"},
		"clipped":    {[]pattern.Plane[float32]{change(128*3+2, 1)}, grid, "clipped (column 2, row 3)"},
		"short":      {[]pattern.Plane[float32]{good}, joint(40, 40, 40, 60), "joints[0] (40, 40) to (40, 60) px: must be at least 32 px long"},
		"outside":    {[]pattern.Plane[float32]{good}, joint(40, 40, 40, 100), "must lie in the picture of 128 × 96 px, with 16 px on each side"},
		"near edge":  {[]pattern.Plane[float32]{good}, joint(15, 40, 15, 90), "must lie in the picture"},
		"no light":   {[]pattern.Plane[float32]{black}, joint(40, 10, 40, 60), "joints[0] no light"},
		"bad number": {[]pattern.Plane[float32]{good}, joint(40, math.NaN(), 40, 60), "must be at least"},
		"reach":      {[]pattern.Plane[float32]{good}, pattern.UniformitySpec{Reach: 3}, "reach 3 px"},
		"columns":    {[]pattern.Plane[float32]{good}, pattern.UniformitySpec{Columns: -1}, "columns -1"},
	} {
		_, err := pattern.MeasureUniformity(tc.planes, tc.spec)
		assert.ErrorIs(t, err, pattern.ErrInvalid, name)
		assert.ErrorContains(t, err, tc.want, name)
	}
	hostile.Calls(t, []any{[]pattern.Plane[float32]{good, good}, []pattern.Plane[float32]{{}}, joint(40, 10, 40, 60)}, pattern.MeasureUniformity[float32])
}
