package pattern_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/internal/same"
	"example.com/platewright/wall"
	"example.com/platewright/wall/alias"
	"example.com/platewright/wall/pattern"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r2"
)

// scenes is how many random pictures the judges make.
var scenes = flag.Int("scenes", 20, "random `pictures` to measure")

// waterfront is the luminance of a real sphere, row by row.
var waterfront = sync.OnceValues(func() ([][]float64, error) {
	img, err := same.Waterfront()
	if err != nil {
		return nil, err
	}
	b := img.Bounds()
	rows := make([][]float64, b.Dy())
	for y := range rows {
		rows[y] = make([]float64, b.Dx())
		for x := range rows[y] {
			r, g, bl, _ := img.At(b.Min.X+x, b.Min.Y+y).RGBA()
			rows[y][x] = (0.2126*float64(r) + 0.7152*float64(g) + 0.0722*float64(bl)) / 65535
		}
	}
	return rows, nil
})

// scene is a part of the real sphere, enlarged by scale with a cubic kernel, with a
// mean of 1. Below it the light of a black wall is 3 % of the mean.
func scene(t testing.TB, rng *rand.Rand, width, height int, scale float64) []float64 {
	rows, err := waterfront()
	require.NoError(t, err)
	w, h := len(rows[0]), len(rows)
	x0 := rng.Float64() * (float64(w) - float64(width)/scale)
	y0 := rng.Float64() * (float64(h) - float64(height)/scale)
	kernel := func(d float64) float64 { // cubic, a = −½ (R. Keys, 1981)
		switch d = math.Abs(d); {
		case d < 1:
			return (1.5*d-2.5)*d*d + 1
		case d < 2:
			return ((-0.5*d+2.5)*d-4)*d + 2
		}
		return 0
	}
	type tap struct {
		at     [4]int
		weight [4]float64
	}
	taps := func(n, size int, first float64) []tap {
		all := make([]tap, n)
		for i := range all {
			p := first + (float64(i)+0.5)/scale - 0.5
			for k := range 4 {
				j := int(math.Floor(p)) - 1 + k
				all[i].at[k] = min(max(j, 0), size-1)
				all[i].weight[k] = kernel(p - float64(j))
			}
		}
		return all
	}
	across, down := taps(width, w, x0), taps(height, h, y0)
	picture := make([]float64, width*height)
	var sum float64
	for y, d := range down {
		for x, a := range across {
			var v float64
			for j := range 4 {
				for i := range 4 {
					v += d.weight[j] * a.weight[i] * rows[d.at[j]][a.at[i]]
				}
			}
			picture[y*width+x] = max(0, v)
			sum += max(0, v)
		}
	}
	mean := sum / float64(len(picture))
	for i := range picture {
		picture[i] = (picture[i]/mean + 0.03) / 1.03
	}
	return picture
}

// record adds normal noise and rounds to 16 bits; the mean of a picture is near 1500.
func record(rng *rand.Rand, picture []float64, width, height int, noise float64) pattern.Plane[uint16] {
	p := pattern.Plane[uint16]{Pix: make([]uint16, len(picture)), Width: width, Height: height}
	for i, v := range picture {
		p.Pix[i] = uint16(math.Round(min(max(1500*(v+noise*rng.NormFloat64())+200, 0), 65535)))
	}
	return p
}

// lightOf takes the black level out.
func lightOf(code float64) float64 { return (code - 200) / 1500 }

// tally counts how often errors are beyond three uncertainties, and sums them up.
type tally struct {
	all, out int
	sum      float64
}

func (y *tally) add(t *testing.T, what string, got, uncertainty, want float64) {
	e := (got - want) / uncertainty
	y.all++
	y.sum += e
	if !(math.Abs(e) <= 3) {
		y.out++
		t.Logf("%s: %g ± %g, not %g", what, got, uncertainty, want)
	}
}

// judge is the share that is out, and what the mean error is beyond chance.
func (y *tally) judge(t *testing.T, what string) (out, bias float64) {
	n := float64(y.all)
	t.Logf("%s: %d of %d beyond three uncertainties, mean error %.2f of one", what, y.out, y.all, y.sum/n)
	return float64(y.out) / n, max(0, math.Abs(y.sum/n)-3/math.Sqrt(n))
}

// apart is the way between two frequencies that a sampled picture may show as each
// other: f, −f, and those that are whole numbers away.
func apart(f, g r2.Vec) r2.Vec {
	near := func(v r2.Vec) r2.Vec { return r2.Vec{X: v.X - math.Round(v.X), Y: v.Y - math.Round(v.Y)} }
	if a, b := near(r2.Sub(f, g)), near(r2.Add(f, g)); r2.Norm(a) > r2.Norm(b) {
		return b
	} else {
		return a
	}
}

// ownMirror reports whether a frequency and its opposite are recorded less than two
// bins apart.
func ownMirror(f r2.Vec, side int) bool {
	g := r2.Scale(2, f)
	return math.Hypot(g.X-math.Round(g.X), g.Y-math.Round(g.Y)) < 2/float64(side)
}

// Parts of a real sphere, with 40 dB of noise, without and with a sinusoid of twice the
// limit.
func TestPatternsOfScenes(t *testing.T) {
	near.NumbersOnly(t)
	const side, size, contrast = 64, 384, 0.02
	spec := pattern.Spec{Tile: side, Linear: lightOf}
	var frequencies, contrasts tally
	alarms, missed := 0, 0
	for seed := range *scenes {
		rng := rand.New(rand.NewPCG(uint64(seed), 3))
		scale := []float64{1, 1.5, 2, 3, 5, 8}[rng.IntN(6)]
		high := min(size, int(256*scale))
		picture := scene(t, rng, size, high, scale)
		m, err := pattern.MeasurePatterns(record(rng, picture, size, high, 0.01), spec)
		require.NoError(t, err)
		if len(m.Found) > 0 {
			alarms++
			t.Logf("picture %d, enlarged by %g: alarm %+v", seed, scale, m.Found[0])
		}
		var f r2.Vec
		for math.Max(math.Abs(f.X), math.Abs(f.Y)) < 7./side || ownMirror(f, side) {
			f = r2.Vec{X: rng.Float64() * 0.5, Y: rng.Float64() - 0.5}
		}
		phase := 2 * math.Pi * rng.Float64()
		for i := range picture {
			picture[i] *= 1 + contrast*math.Cos(2*math.Pi*(f.X*float64(i%size)+f.Y*float64(i/size))+phase)
		}
		m, err = pattern.MeasurePatterns(record(rng, picture, size, high, 0.01), spec)
		require.NoError(t, err)
		k := slices.IndexFunc(m.Found, func(p pattern.Pattern) bool { return r2.Norm(apart(p.Frequency, f)) < 1./side })
		if k < 0 {
			missed++
			t.Logf("picture %d, enlarged by %g: missed %v, found %+v", seed, scale, f, m.Found)
			continue
		}
		p := m.Found[k]
		d := apart(p.Frequency, f)
		frequencies.add(t, "x", d.X, p.Spread.X, 0)
		frequencies.add(t, "y", d.Y, p.Spread.Y, 0)
		contrasts.add(t, "contrast", p.Contrast.Value, p.Contrast.Uncertainty, contrast)
	}
	n := float64(*scenes)
	t.Logf("%d pictures: %d alarms, %d missed", *scenes, alarms, missed)
	ref.Within(t, "W-PAT-ALARMS", float64(alarms)/n)
	ref.Within(t, "W-PAT-DETECTED", float64(missed)/n)
	for what, y := range map[string]*tally{"frequency": &frequencies, "contrast": &contrasts} {
		out, bias := y.judge(t, what)
		ref.Within(t, "W-PAT-WITHIN", out, what)
		ref.Within(t, "W-PAT-BIAS", bias, what)
	}
}

// A wall of emitters shows a part of a real sphere. A camera far away sees it tilted and
// rolled. Each photosite takes the light at 8 × 8 points of its square, a lattice of
// which it has its own random place: a still one would lose less contrast than a square.
func TestPatternsOfWalls(t *testing.T) {
	near.NumbersOnly(t)
	const side, size, points = 64, 256, 8
	var frequencies, contrasts tally
	missed, looked := 0, 0
	for seed := range max(3, *scenes/5) {
		rng := rand.New(rand.NewPCG(uint64(seed), 5))
		lit := alias.Emitters{Width: 0.4 + 0.5*rng.Float64(), Height: 0.4 + 0.5*rng.Float64()}
		photosites := alias.Photosites{Width: 0.6 + 0.4*rng.Float64()}
		var grid wall.Grid
		var want []alias.Alias
		for { // until the strongest alias is one that can be told
			pitch, roll := 0.7+0.9*rng.Float64(), 2*math.Pi*rng.Float64()
			tall := 0.7 + 0.3*rng.Float64()
			sin, cos := math.Sincos(roll)
			grid = wall.Grid{Across: r2.Vec{X: pitch * cos, Y: pitch * sin}, Down: r2.Vec{X: -tall*pitch*sin + 0.1*rng.Float64(), Y: tall * pitch * cos}}
			var err error
			want, err = alias.Predict(alias.Spec{Grid: grid, Emitters: lit, Photosites: photosites, Order: 12})
			require.NoError(t, err)
			// Coarse patterns are the scene's, close ones disturb each other.
			f := want[0].Frequency
			lone := true
			for _, w := range want[1:] {
				lone = lone && (w.Contrast < 3e-3*want[0].Contrast || r2.Norm(apart(w.Frequency, f)) > 12./side)
			}
			if lone && want[0].Contrast > 0.02 && math.Max(math.Abs(f.X), math.Abs(f.Y)) > 7./side && !ownMirror(f, side) {
				break
			}
		}
		content := scene(t, rng, 512, 512, 4)
		det := r2.Cross(grid.Across, grid.Down)
		picture := make([]float64, size*size)
		for i := range picture {
			jx, jy := rng.Float64(), rng.Float64()
			for k := range points * points {
				p := r2.Vec{
					X: float64(i%size-size/2) + 0.5 + photosites.Width*((float64(k%points)+jx)/points-0.5),
					Y: float64(i/size-size/2) + 0.5 + photosites.Width*((float64(k/points)+jy)/points-0.5),
				}
				u, v := r2.Cross(p, grid.Down)/det, r2.Cross(grid.Across, p)/det
				iu, iv := math.Floor(u), math.Floor(v)
				if math.Abs(u-iu-0.5) < lit.Width/2 && math.Abs(v-iv-0.5) < lit.Height/2 {
					x, y := (int(iu)+4096)%512, (int(iv)+4096)%512
					picture[i] += content[y*512+x] / (points * points * lit.Width * lit.Height)
				}
			}
		}
		expected := make([]r2.Vec, len(want))
		for i, w := range want {
			expected[i] = w.Frequency
		}
		m, err := pattern.MeasurePatterns(record(rng, picture, size, size, 0.01), pattern.Spec{Tile: side, Linear: lightOf, Expected: expected})
		require.NoError(t, err)
		looked++
		k := slices.IndexFunc(m.Found, func(p pattern.Pattern) bool { return p.Prediction == 0 })
		if k < 0 {
			missed++
			t.Logf("wall %d: missed %+v, found %+v", seed, want[0], m.Found)
			continue
		}
		p := m.Found[k]
		d := apart(p.Frequency, want[0].Frequency)
		frequencies.add(t, fmt.Sprintf("wall %d: x", seed), d.X, p.Spread.X, 0)
		frequencies.add(t, fmt.Sprintf("wall %d: y", seed), d.Y, p.Spread.Y, 0)
		contrasts.add(t, fmt.Sprintf("wall %d: contrast", seed), p.Contrast.Value, p.Contrast.Uncertainty, want[0].Contrast)
	}
	ref.Within(t, "W-PAT-DETECTED", float64(missed)/float64(looked))
	for what, y := range map[string]*tally{"frequency": &frequencies, "contrast": &contrasts} {
		out, bias := y.judge(t, what)
		ref.Within(t, "W-PAT-WITHIN", out, what)
		ref.Within(t, "W-PAT-BIAS", bias, what)
	}
}
