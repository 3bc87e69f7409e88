package wall_test

import (
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/dsp/fourier"
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
		Columns: 1, Rows: 1,
		Position:  r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()},
		Heading:   unit.Angle(2 * math.Pi * rng.Float64()),
		Elevation: unit.Angle(rng.Float64() - 0.5),
		Roll:      unit.Angle(2 * math.Pi * rng.Float64()),
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

func newSpectrum(picture [][]float64, sampling wall.Sampling) *spectrum {
	side := len(picture)
	weight := make([]float64, side)
	for i := range weight {
		// F. J. Harris, Proceedings of the IEEE 66, 1978: four terms, side lobes below −92 dB.
		x := 2 * math.Pi * (float64(i) + 0.5) / float64(side)
		weight[i] = 0.35875 - 0.48829*math.Cos(x) + 0.14128*math.Cos(2*x) - 0.01168*math.Cos(3*x)
	}
	s := &spectrum{samples: make([][]float64, side)}
	var sum float64
	taken := func(row, column int) bool {
		switch sampling {
		case wall.Green:
			return (row+column)%2 == 0
		case wall.RedOrBlue:
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
			if sampling == wall.EveryPhotosite && (i%2 != 0 || j%2 != 0) || sampling == wall.Green && (i+j)%2 != 0 {
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
	grid, ok := v.ImageGrid(s.camera, 600, 600)
	if !ok {
		t.Fatal("no grid")
	}
	all := must[[]wall.Moire](t)(wall.PredictMoire(wall.MoireSpec{
		Grid: grid, EmittingX: s.litX, EmittingY: s.litY, Aperture: s.aperture, Sampling: sampling, Order: 32, Transfer: transfer,
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
		{"green", wall.Green, 128, 6, 25},
		{"red or blue", wall.RedOrBlue, 160, 8, 30},
	} {
		t.Run(tc.name, func(t *testing.T) {
			kinds := map[wall.MoireKind]int{}
			for i := range tc.shots {
				s := anyShot(t, rng, 0.6, tc.coarsest)
				for _, m := range s.compare(t, tc.sampling, nil, s.render(tc.side, r2.Vec{}), fmt.Sprint(tc.name, " ", i)) {
					kinds[m.Kind]++
				}
			}
			if kinds[wall.Beat] == 0 || kinds[wall.Aliased] < tc.shots/2 || kinds[wall.Resolved] < 3 {
				t.Errorf("%v: the test has lost its point", kinds)
			}
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
		nodes := [4]float64{0.0694318442029737, 0.3300094782075719, 0.6699905217924281, 0.9305681557970263}
		weights := [4]float64{0.1739274225687269, 0.3260725774312731, 0.3260725774312731, 0.1739274225687269}
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
	if compared < 6 || reversed < 2 {
		t.Errorf("%d compared, %d reversed: the test has lost its point", compared, reversed)
	}
}

func grid(pitch float64, roll unit.Angle) wall.Grid {
	sin, cos := math.Sincos(float64(roll))
	return wall.Grid{Across: r2.Vec{X: pitch * cos, Y: pitch * sin}, Down: r2.Vec{X: -pitch * sin, Y: pitch * cos}}
}

func find(all []wall.Moire, m, n int) wall.Moire {
	for _, r := range all {
		if r.Harmonic == [2]int{m, n} {
			return r
		}
	}
	return wall.Moire{}
}

// A grid of 1.02 photosites that leans by 5° beats as two line gratings do.
func TestMoireOfALeaningGrid(t *testing.T) {
	for _, tc := range []struct {
		pitch float64
		lean  unit.Angle
	}{{1.02, 5 * wall.Degree}, {1.02, 0}, {0.97, -3 * wall.Degree}, {1.3, 11 * wall.Degree}} {
		all := must[[]wall.Moire](t)(wall.PredictMoire(wall.MoireSpec{Grid: grid(tc.pitch, tc.lean), EmittingX: 0.5, EmittingY: 0.5, Order: 1}))
		for _, h := range [][2]int{{1, 0}, {0, 1}} {
			period, _ := find(all, h[0], h[1]).Period()
			ref.Near(t, "W-M17", period, must[float64](t)(wall.BeatPeriod(tc.pitch, 1, tc.lean)), tc.pitch, tc.lean)
		}
	}
	all := must[[]wall.Moire](t)(wall.PredictMoire(wall.MoireSpec{Grid: grid(1.02, 5*wall.Degree), EmittingX: 0.5, EmittingY: 0.5, Order: 1}))
	period, _ := find(all, 1, 0).Period()
	near.Abs(t, "period", period, 11.3, 0.05, "not the 51 photosites of a grid that stands straight")
}

// What is seen changes at the limits that the sampling theorem sets, and not at
// the same image pitch for all channels.
func TestMoireKinds(t *testing.T) {
	both := func(pitch float64, s wall.Sampling) [2]wall.Moire {
		all := must[[]wall.Moire](t)(wall.PredictMoire(wall.MoireSpec{Grid: grid(pitch, 0), EmittingX: 0.5, EmittingY: 0.5, Aperture: 1, Sampling: s, Order: 1}))
		return [2]wall.Moire{find(all, 1, 0), find(all, 0, 1)}
	}
	for _, tc := range []struct {
		pitch    float64
		sampling wall.Sampling
		kind     wall.MoireKind
		period   float64 // 0 where there is none
	}{
		{5, wall.EveryPhotosite, wall.Resolved, 5},
		{2.5, wall.EveryPhotosite, wall.Resolved, 2.5},
		{2.29, wall.EveryPhotosite, wall.Resolved, 2.29},
		{2.28, wall.EveryPhotosite, wall.Beat, 57.0 / 7},  // 1 − 2/2.28 = 7/57, of more than 8 samples
		{2.2, wall.EveryPhotosite, wall.Beat, 11},         // 1 − 2/2.2 = 1/11
		{2.01, wall.EveryPhotosite, wall.Beat, 201},       // 1 − 2/2.01 = 1/201
		{1.99, wall.EveryPhotosite, wall.Beat, 199},       // 2/1.99 − 1 = 1/199
		{2, wall.EveryPhotosite, wall.Beat, 0},            // alternates evenly
		{1.5, wall.EveryPhotosite, wall.Aliased, 3},       // 2/3 is recorded as 1/3
		{1.1, wall.EveryPhotosite, wall.Aliased, 11},      // 1/1.1 is recorded as 1/11
		{1, wall.EveryPhotosite, wall.Aliased, 0},         // flat
		{1 + 1e-10, wall.EveryPhotosite, wall.Aliased, 0}, // flat over 1e9 photosites
		{2.5, wall.Green, wall.Resolved, 2.5},
		{1.5, wall.Green, wall.Aliased, 3},
		{5, wall.RedOrBlue, wall.Resolved, 5},
		{4.1, wall.RedOrBlue, wall.Beat, 82},      // 0.5 − 2/4.1 = 1/82
		{3, wall.RedOrBlue, wall.Aliased, 6},      // 1/3 is recorded as 1/6
		{2.2, wall.RedOrBlue, wall.Aliased, 22},   // 1/2.2 is recorded as 1/2 − 1/2.2
		{2.01, wall.RedOrBlue, wall.Aliased, 402}, // the same
	} {
		for _, m := range both(tc.pitch, tc.sampling) {
			ref.Equal(t, "W-M18", m.Kind, tc.kind, m.Harmonic, tc.pitch, tc.sampling)
			period, ok := m.Period()
			ref.Equal(t, "W-M18", ok, tc.period > 0, "has a period", m.Harmonic, tc.pitch, tc.sampling)
			ref.Near(t, "W-M18b", period, tc.period, m.Harmonic, tc.pitch, tc.sampling)
		}
	}
	// A grid seen at 2.01 photosites keeps most of its contrast; so does one
	// that is just not resolved. 2 sinc(1/2) sinc(1/2.01).
	near.Abs(t, "contrast", both(2.01, wall.EveryPhotosite)[0].Contrast, 0.8146, 1e-4, "(4/π)(2.01/π) sin(π/2.01), of four digits")
	ref.Equal(t, "W-M18", [3]float64{wall.EveryPhotosite.NyquistPitch(), wall.Green.NyquistPitch(), wall.RedOrBlue.NyquistPitch()}, [3]float64{2, 2, 4})

	// Along the diagonal green has half of its photosites' rows: a grid at 45°
	// is resolved down to 2√2 photosites, and by all photosites down to √2.
	for _, tc := range []struct {
		pitch float64
		s     wall.Sampling
		kind  wall.MoireKind
	}{
		{4, wall.Green, wall.Resolved}, {2.5, wall.Green, wall.Aliased}, {2, wall.Green, wall.Aliased},
		{2, wall.EveryPhotosite, wall.Resolved}, {1.7, wall.EveryPhotosite, wall.Resolved}, {1.1, wall.EveryPhotosite, wall.Aliased},
	} {
		all := must[[]wall.Moire](t)(wall.PredictMoire(wall.MoireSpec{Grid: grid(tc.pitch, 45*wall.Degree), EmittingX: 0.5, EmittingY: 0.5, Sampling: tc.s, Order: 1}))
		ref.Equal(t, "W-M18", find(all, 1, 0).Kind, tc.kind, "at 45°", tc.pitch, tc.s)
	}

	// Half a cycle across and a fifth down: on the limit, and still resolved.
	all := must[[]wall.Moire](t)(wall.PredictMoire(wall.MoireSpec{
		Grid: wall.Grid{Across: r2.Vec{X: 2}, Down: r2.Vec{Y: 5}}, EmittingX: 0.5, EmittingY: 0.5, Order: 1,
	}))
	ref.Equal(t, "W-M18", find(all, 1, 1).Kind, wall.Resolved, "on the limit")
}

func TestMoireIsJSON(t *testing.T) {
	for _, pitch := range []float64{1, 2, 1.1, 3} {
		all := must[[]wall.Moire](t)(wall.PredictMoire(wall.MoireSpec{Grid: grid(pitch, 0), EmittingX: 0.5, EmittingY: 1, Order: 3}))
		if _, err := json.Marshal(all); err != nil {
			t.Error(err)
		}
	}
}

// Lit points on black have harmonics of twice the mean, and each is listed once.
func TestMoireOfPoints(t *testing.T) {
	all := must[[]wall.Moire](t)(wall.PredictMoire(wall.MoireSpec{Grid: grid(10, 0.1), EmittingX: 1e-9, EmittingY: 1e-9, Order: 3}))
	listed := map[[2]int]bool{}
	for _, m := range all {
		near.Abs(t, "contrast", m.Contrast, 2, 1e-12, "sinc of 3e-9")
		if listed[m.Harmonic] || listed[[2]int{-m.Harmonic[0], -m.Harmonic[1]}] {
			t.Errorf("%v again", m.Harmonic)
		}
		listed[m.Harmonic] = true
	}
	if len(all) != (7*7-1)/2 {
		t.Errorf("%d harmonics", len(all))
	}
}
