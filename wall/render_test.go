package wall_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// shot is a flat wall of lit rectangles in the picture of a pinhole.
type shot struct {
	w          wall.Wall
	eye        r3.Vec
	camera     pinhole
	litX, litY float64
	aperture   float64
}

// anyShot is a long lens's view of a wall from kilometres away, which heads,
// tilts and rolls as it likes. So far away the pitch changes little over a
// patch of photosites.
func anyShot(t *testing.T, rng *rand.Rand, finest, coarsest float64) shot {
	spec := wall.Spec{
		PanelWidth: 3.6, PanelHeight: unit.Length(3 + 1.2*rng.Float64()), PanelPixelsX: 1200, PanelPixelsY: 1200,
		Columns: 1, Rows: 1, Position: r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()},
		Heading: unit.Angle(2 * math.Pi * rng.Float64()), Elevation: unit.Angle(rng.Float64() - 0.5),
		Roll: unit.Angle(2 * math.Pi * rng.Float64()),
	}
	w := must[wall.Wall](t)(wall.New(spec))
	n, _ := w.Normal(600, 600)
	aside := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
	way := r3.Unit(r3.Add(n, r3.Scale(rng.Float64()/r3.Norm(aside), aside)))
	distance := 3000 + 3000*rng.Float64()
	eye := r3.Add(spec.Position, r3.Scale(distance, way))
	// The camera looks back along the way.
	heading, elevation := math.Atan2(-way.X, way.Z), math.Asin(-way.Y)
	pitch := finest * math.Pow(coarsest/finest, rng.Float64()) // in photosites, seen straight on
	return shot{
		w: w, eye: eye,
		camera: pinhole{orient.FromAngles(unit.Angle(heading), unit.Angle(elevation), unit.Angle(2*math.Pi*rng.Float64())), pitch * distance / 0.003},
		litX:   0.25 + 0.6*rng.Float64(), litY: 0.25 + 0.6*rng.Float64(),
		aperture: 0.5 + 0.5*rng.Float64(),
	}
}

// place is where in the picture a raster position of the wall lies.
func (s shot) place(x, y float64) r2.Vec {
	p, _ := s.w.Point(x, y)
	px, py, _ := s.camera.Project(r3.Sub(p, s.eye))
	return r2.Vec{X: px, Y: py}
}

// render gives what side × side photosites around the middle of the wall get of
// it, by the exact overlap of each lit rectangle's picture with each photosite's
// sensitive square. The photosites are moved by a shift.
func (s shot) render(side int, shift r2.Vec) [][]float64 {
	middle := s.place(600, 600)
	origin := r2.Add(r2.Sub(middle, r2.Vec{X: float64(side) / 2, Y: float64(side) / 2}), shift)
	// The pixels that may lie in the patch, from the steps of one pixel.
	a, b := r2.Sub(s.place(601, 600), middle), r2.Sub(s.place(600, 601), middle)
	half := float64(side)/2 + 2
	det := math.Abs(a.X*b.Y - a.Y*b.X)
	reachX := int(half*(math.Abs(b.X)+math.Abs(b.Y))/det) + 3
	reachY := int(half*(math.Abs(a.X)+math.Abs(a.Y))/det) + 3
	picture := make([][]float64, side)
	for i := range picture {
		picture[i] = make([]float64, side)
	}
	margin := (1 - s.aperture) / 2
	for i := 600 - reachX; i < 600+reachX; i++ {
		for j := 600 - reachY; j < 600+reachY; j++ {
			x0, y0 := float64(i)+(1-s.litX)/2, float64(j)+(1-s.litY)/2
			lit := []r2.Vec{s.place(x0, y0), s.place(x0+s.litX, y0), s.place(x0+s.litX, y0+s.litY), s.place(x0, y0+s.litY)}
			low, high := r2.Vec{X: inf, Y: inf}, r2.Vec{X: -inf, Y: -inf}
			for k := range lit {
				lit[k] = r2.Sub(lit[k], origin)
				low = r2.Vec{X: math.Min(low.X, lit[k].X), Y: math.Min(low.Y, lit[k].Y)}
				high = r2.Vec{X: math.Max(high.X, lit[k].X), Y: math.Max(high.Y, lit[k].Y)}
			}
			for row := max(0, int(math.Floor(low.Y))); row <= min(side-1, int(high.Y)); row++ {
				for column := max(0, int(math.Floor(low.X))); column <= min(side-1, int(high.X)); column++ {
					x, y := float64(column)+margin, float64(row)+margin
					picture[row][column] += overlap(lit, x, y, x+s.aperture, y+s.aperture)
				}
			}
		}
	}
	return picture
}

// overlap is the area of a convex polygon inside a box.
func overlap(polygon []r2.Vec, x0, y0, x1, y1 float64) float64 {
	inside := [4]func(p r2.Vec) float64{
		func(p r2.Vec) float64 { return p.X - x0 }, func(p r2.Vec) float64 { return x1 - p.X },
		func(p r2.Vec) float64 { return p.Y - y0 }, func(p r2.Vec) float64 { return y1 - p.Y },
	}
	var buffers [2][12]r2.Vec
	left := polygon
	for k, in := range inside {
		next := buffers[k%2][:0]
		for i, p := range left {
			q := left[(i+1)%len(left)]
			hp, hq := in(p), in(q)
			if hp >= 0 {
				next = append(next, p)
			}
			if (hp >= 0) != (hq >= 0) {
				next = append(next, r2.Add(p, r2.Scale(hp/(hp-hq), r2.Sub(q, p))))
			}
		}
		left = next
	}
	var twice float64
	for i, p := range left {
		twice += r2.Cross(p, left[(i+1)%len(left)])
	}
	return math.Abs(twice) / 2
}

// spectrum analyses the samples that one channel takes out of a picture.
type spectrum struct {
	samples [][]float64 // less their mean, over it, and weighted; 0 where there is none
	total   float64     // of the weights
}

// harris is the window with four terms of F. J. Harris, Proceedings of the IEEE
// 66, 1978, from memory. Its side lobes are below −92 dB.
func harris(n int) []float64 {
	w := make([]float64, n)
	for i := range w {
		x := 2 * math.Pi * (float64(i) + 0.5) / float64(n)
		w[i] = 0.35875 - 0.48829*math.Cos(x) + 0.14128*math.Cos(2*x) - 0.01168*math.Cos(3*x)
	}
	return w
}

func newSpectrum(picture [][]float64, sampling wall.Sampling) *spectrum {
	side := len(picture)
	weight := harris(side)
	s := &spectrum{samples: make([][]float64, side)}
	var sum float64
	taken := func(row, column int) bool {
		switch sampling {
		case wall.GreenPhotosites:
			return (row+column)%2 == 0
		case wall.RedOrBluePhotosites:
			return row%2 == 0 && column%2 == 0
		}
		return true
	}
	for row := range side {
		for column := range side {
			if taken(row, column) {
				s.total += weight[row] * weight[column]
				sum += weight[row] * weight[column] * picture[row][column]
			}
		}
	}
	mean := sum / s.total
	for row := range side {
		s.samples[row] = make([]float64, side)
		for column := range side {
			if taken(row, column) {
				s.samples[row][column] = weight[row] * weight[column] * (picture[row][column]/mean - 1)
			}
		}
	}
	return s
}

// contrast is the amplitude over the mean of the sinusoid of a frequency.
func (s *spectrum) contrast(f r2.Vec) float64 {
	turn := make([]complex128, len(s.samples))
	for i := range turn {
		turn[i] = cmplx.Exp(complex(0, -2*math.Pi*f.X*float64(i)))
	}
	var sum complex128
	for row, line := range s.samples {
		var part complex128
		for column, v := range line {
			part += complex(v, 0) * turn[column]
		}
		sum += part * cmplx.Exp(complex(0, -2*math.Pi*f.Y*float64(row)))
	}
	return 2 * cmplx.Abs(sum) / s.total
}

// highest is the frequency of the strongest sinusoid of all.
func (s *spectrum) highest() r2.Vec {
	side := len(s.samples)
	fft := fourier.NewCmplxFFT(side)
	rows := make([][]complex128, side)
	for i, line := range s.samples {
		rows[i] = make([]complex128, side)
		for j, v := range line {
			rows[i][j] = complex(v, 0)
		}
		fft.Coefficients(rows[i], rows[i])
	}
	var best r2.Vec
	var most float64
	column := make([]complex128, side)
	for j := range side {
		for i := range side {
			column[i] = rows[i][j]
		}
		fft.Coefficients(column, column)
		for i, v := range column {
			if cmplx.Abs(v) > most {
				most, best = cmplx.Abs(v), r2.Vec{X: float64(j) / float64(side), Y: float64(i) / float64(side)}
			}
		}
	}
	return best
}

// peak climbs from a frequency to the next top of the spectrum.
func (s *spectrum) peak(f r2.Vec) (at r2.Vec, contrast float64) {
	step := 0.5 / float64(len(s.samples))
	best := s.contrast(f)
	for step > 1e-6 {
		moved := false
		for _, d := range []r2.Vec{{X: step}, {X: -step}, {Y: step}, {Y: -step}} {
			if c := s.contrast(r2.Add(f, d)); c > best {
				f, best, moved = r2.Add(f, d), c, true
			}
		}
		if !moved {
			step /= 2
		}
	}
	return f, best
}

// apart is how far two frequencies lie from each other for the samples, along
// the axis where it is more: frequencies that differ by a point of the lattice
// reciprocal to the samples are one.
func apart(f, g r2.Vec, sampling wall.Sampling) float64 {
	least := inf
	for i := -2; i <= 2; i++ {
		for j := -2; j <= 2; j++ {
			if sampling == wall.EveryPhotosite && (i%2 != 0 || j%2 != 0) || sampling == wall.GreenPhotosites && (i+j)%2 != 0 {
				continue
			}
			x := math.Remainder(f.X-g.X-float64(i)/2, 2)
			y := math.Remainder(f.Y-g.Y-float64(j)/2, 2)
			least = math.Min(least, math.Max(math.Abs(x), math.Abs(y)))
		}
	}
	return least
}

// compare predicts the ripples of a shot, compares them with those in its
// rendered picture, where no other comes near enough to disturb, and gives those
// that it compared.
func (s shot) compare(t *testing.T, sampling wall.Sampling, transfer func(float64) float64, picture [][]float64, name string) (compared []wall.Moire) {
	t.Helper()
	v := must[wall.View](t)(s.w.View(s.eye))
	grid, why := v.ImageGrid(s.camera, 600, 600)
	require.Equal(t, wall.Seen, why)
	all := must[[]wall.Moire](t)(wall.PredictMoire(wall.MoireSpec{
		Grid: grid, WallFillX: s.litX, WallFillY: s.litY, PhotositeFill: s.aperture, Sampling: sampling, Order: 32, Transfer: transfer,
	}))
	seen := newSpectrum(picture, sampling)
	lobe := 5 / float64(len(picture)) // of the window, which ends at 4
	alone := func(k int) bool {
		for i, other := range all {
			if other.Contrast < all[k].Contrast/400 {
				break
			}
			if apart(r2.Scale(-1, other.Frequency), all[k].Frequency, sampling) < lobe ||
				i != k && apart(other.Frequency, all[k].Frequency, sampling) < lobe {
				return false
			}
		}
		return apart(r2.Vec{}, all[k].Frequency, sampling) > lobe
	}
	for k := range all {
		m := all[k]
		if m.Contrast < 0.02 {
			break
		}
		// What an ideal reconstruction shows is the lowest of the frequencies
		// that are one.
		for i := -2; i <= 2; i++ {
			for j := -2; j <= 2; j++ {
				g := r2.Vec{X: float64(i) / 2, Y: float64(j) / 2}
				if apart(g, r2.Vec{}, sampling) == 0 && r2.Norm(r2.Sub(m.Frequency, g)) < r2.Norm(m.Frequency)-1e-9 {
					t.Fatalf("%s: %+v is recorded lower by %v", name, m, g)
				}
			}
		}
		if !alone(k) {
			continue
		}
		start := m.Frequency
		if k == 0 && all[1].Contrast < 0.7*m.Contrast {
			start = seen.highest()
		}
		at, contrast := seen.peak(start)
		off := math.Min(apart(at, m.Frequency, sampling), apart(at, r2.Scale(-1, m.Frequency), sampling))
		what := fmt.Sprintf("%s: %+v, measured %v, %v", name, m, at, contrast)
		ref.Within(t, "W-M15", off, "frequency", what)
		ref.Within(t, "W-M16", math.Abs(contrast/m.Contrast-1), "contrast", what)
		compared = append(compared, m)
	}
	return compared
}

// What a camera records of a wall that heads, tilts and rolls.
func TestMoireOfARenderedWall(t *testing.T) {
	rng := rand.New(rand.NewPCG(61, 1))
	for _, tc := range []struct {
		name     string
		sampling wall.Sampling
		side     int
		coarsest float64
		shots    int
	}{
		{"every photosite", wall.EveryPhotosite, 128, 4, 40},
		{"green", wall.GreenPhotosites, 128, 6, 25},
		{"red or blue", wall.RedOrBluePhotosites, 160, 8, 30},
	} {
		t.Run(tc.name, func(t *testing.T) {
			kinds := map[wall.MoireKind]int{}
			for i := range tc.shots {
				s := anyShot(t, rng, 0.6, tc.coarsest)
				for _, m := range s.compare(t, tc.sampling, nil, s.render(tc.side, r2.Vec{}), fmt.Sprint(tc.name, " ", i)) {
					kinds[m.Kind]++
				}
			}
			assert.True(t, kinds[wall.Beat] > 0 && kinds[wall.Aliased] >= tc.shots/2 && kinds[wall.Resolved] > 2, "%v: the test has lost its point", kinds)
		})
	}
}

// Out of focus by a disc of even light, whose OTF is 2 J1(x)/x with x = 2π
// radius ν: negative, for some harmonics, where the lens reverses contrast.
func TestMoireOutOfFocus(t *testing.T) {
	rng := rand.New(rand.NewPCG(62, 1))
	compared, reversed := 0, 0
	for i := range 5 {
		s := anyShot(t, rng, 1.5, 4)
		radius := 0.4 + rng.Float64()
		otf := func(f float64) float64 {
			x := 2 * math.Pi * radius * f
			return 2 * math.J1(x) / x
		}
		// The disc in 16 directions, and over the square of the radius by Gauss
		// and Legendre's rule of four points.
		const side, directions = 96, 16
		var nodes, weights [4]float64
		quad.Legendre{}.FixedLocations(nodes[:], weights[:], 0, 1)
		picture := make([][]float64, side)
		for row := range picture {
			picture[row] = make([]float64, side)
		}
		for ring, node := range nodes {
			for k := range directions {
				r := radius * math.Sqrt(node)
				sin, cos := math.Sincos(2 * math.Pi * float64(k) / directions)
				for row, line := range s.render(side, r2.Vec{X: r * cos, Y: r * sin}) {
					for column, v := range line {
						picture[row][column] += weights[ring] * v
					}
				}
			}
		}
		// The frequency of a harmonic before it is sampled, from the steps.
		middle := s.place(600, 600)
		a, b := r2.Sub(s.place(601, 600), middle), r2.Sub(s.place(600, 601), middle)
		for _, m := range s.compare(t, wall.EveryPhotosite, otf, picture, fmt.Sprint("disc ", i)) {
			compared++
			across, down := float64(m.Harmonic[0]), float64(m.Harmonic[1])
			f := r2.Scale(1/r2.Cross(a, b), r2.Vec{X: across*b.Y - down*a.Y, Y: down*a.X - across*b.X})
			if otf(r2.Norm(f)) < 0 {
				reversed++
			}
		}
	}
	assert.True(t, compared > 5 && reversed > 1, "%d compared, %d reversed: the test has lost its point", compared, reversed)
}
