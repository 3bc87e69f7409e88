package alias_test

import (
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/ref"
	"example.com/platewright/wall"
	"example.com/platewright/wall/alias"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// geometries is how many random shots the judge renders. Hundreds take minutes.
var geometries = flag.Int("geometries", 20, "random `shots` to render")

// camera is a rectilinear camera or an equidistant fisheye, with its focal length
// in photosites and its axis in the middle of the picture.
type camera struct {
	axes          orient.Axes
	focal         float64
	width, height int
	fisheye       bool
}

func (c camera) Size() (width, height int) { return c.width, c.height }

func (c camera) Project(dir r3.Vec) (x, y float64, ok bool) {
	d := c.axes.FromStage(dir)
	off := math.Hypot(d.X, d.Y)
	k := -c.focal / d.Z
	if c.fisheye {
		k = c.focal
		if off > 0 {
			k = c.focal * math.Atan2(off, -d.Z) / off
		}
	}
	x, y = float64(c.width)/2+k*d.X, float64(c.height)/2-k*d.Y
	return x, y, (c.fisheye || d.Z < 0) && x >= 0 && x <= float64(c.width) && y >= 0 && y <= float64(c.height)
}

func (c camera) Unproject(x, y float64) (dir r3.Vec, ok bool) {
	if !(x >= 0 && x <= float64(c.width) && y >= 0 && y <= float64(c.height)) {
		return r3.Vec{}, false
	}
	d := r3.Vec{X: (x - float64(c.width)/2) / c.focal, Y: (float64(c.height)/2 - y) / c.focal, Z: -1}
	if off := math.Hypot(d.X, d.Y); c.fisheye && off > 0 {
		sin, cos := math.Sincos(off)
		d = r3.Vec{X: d.X / off * sin, Y: d.Y / off * sin, Z: -cos}
	}
	return c.axes.ToStage(d), true
}

// shot is a camera and a place of a wall of lit rectangles in its picture.
type shot struct {
	alias.Shot
	surface alias.Surface
	x, y    float64 // wall pixels
}

// anyShot is a long lens or a long fisheye, hundreds of metres from a wall that
// heads, tilts, rolls and may be an arc, hollow or bulging. The place in the picture
// is off the axis. So far away the pitch changes little over a patch of photosites.
func anyShot(t *testing.T, rng *rand.Rand, finest, coarsest float64) shot {
	for {
		spec := wall.Spec{
			PanelWidth: 3.6, PanelHeight: unit.Length(3 + 1.2*rng.Float64()), PanelPixelsX: 1200, PanelPixelsY: 1200,
			Columns: 1, Rows: 1, Position: r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()},
			Heading: unit.Angle(2 * math.Pi * rng.Float64()), Elevation: unit.Angle(rng.Float64() - 0.5),
			Roll: unit.Angle(2 * math.Pi * rng.Float64()),
		}
		if rng.IntN(3) > 0 {
			spec.Columns = 3 + rng.IntN(6)
			spec.Radius = unit.Length(6 + 30*rng.Float64())
			if rng.IntN(2) == 0 {
				spec.Radius = -spec.Radius
			}
		}
		w := must[wall.Wall](t)(wall.New(spec))
		x, y := 1200*(float64(rng.IntN(spec.Columns))+0.4+0.2*rng.Float64()), 500+200*rng.Float64()
		p, _ := w.Point(x, y)
		n, _ := w.Normal(x, y)
		aside := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		way := r3.Unit(r3.Add(n, r3.Scale(1.2*rng.Float64()/r3.Norm(aside), aside)))
		distance := 500 * math.Pow(8, rng.Float64())
		eye := r3.Add(p, r3.Scale(distance, way))
		// The camera looks back along the way, and then off it.
		heading, elevation := math.Atan2(-way.X, way.Z), math.Asin(-way.Y)
		pitch := finest * math.Pow(coarsest/finest, rng.Float64()) // in photosites, seen straight on
		c := camera{focal: pitch * distance / 0.003, fisheye: rng.IntN(2) == 0}
		off := 0.4
		if c.fisheye {
			off = 1.1
		}
		c.axes = orient.FromAngles(unit.Angle(heading+off*(rng.Float64()-0.5)), unit.Angle(elevation+off*(rng.Float64()-0.5)), unit.Angle(2*math.Pi*rng.Float64()))
		c.width, c.height = int(4*c.focal), int(3*c.focal)
		v, err := w.View(eye)
		if err != nil || v.Sight(x, y) != wall.Seen {
			continue
		}
		s := shot{
			Shot:    alias.Shot{Eye: eye, Camera: c, Photosites: alias.Photosites{Width: 0.5 + 0.5*rng.Float64()}},
			surface: alias.Surface{Wall: w, Emitters: alias.Emitters{Width: 0.25 + 0.6*rng.Float64(), Height: 0.25 + 0.6*rng.Float64()}},
			x:       x, y: y,
		}
		if _, _, ok := c.Project(r3.Sub(p, eye)); ok {
			return s
		}
	}
}

// place is where in the picture a raster position of the wall lies.
func (s shot) place(x, y float64) r2.Vec {
	p, _ := s.surface.Wall.Point(x, y)
	px, py, _ := s.Camera.Project(r3.Sub(p, s.Eye))
	return r2.Vec{X: px, Y: py}
}

// corner is the top left photosite of a patch around the place.
func (s shot) corner(side int) r2.Vec {
	middle := s.place(s.x, s.y)
	return r2.Vec{X: math.Round(middle.X) - float64(side/2), Y: math.Round(middle.Y) - float64(side/2)}
}

// render gives what side × side photosites from a corner get of the wall: emitter
// by emitter, the exact overlap of its image with the sensitive square of each
// photosite. A low-pass filter makes four images; in a mosaic each photosite
// answers to its own colour.
func (s shot) render(side int, corner r2.Vec) [][]float64 {
	picture := make([][]float64, side)
	for i := range picture {
		picture[i] = make([]float64, side)
	}
	p := s.Photosites
	for image := range 4 {
		if (p.LowPassX == 0 && image%2 != 0) || (p.LowPassY == 0 && image/2 != 0) {
			continue
		}
		shift := r2.Vec{X: p.LowPassX * (float64(image%2) - 0.5), Y: p.LowPassY * (float64(image/2) - 0.5)}
		s.add(picture, r2.Add(corner, shift))
	}
	if p.Sampling == alias.Mosaic {
		for row := range picture {
			for column := range picture[row] {
				x, y := (int(corner.X)+column)%2, (int(corner.Y)+row)%2
				switch {
				case x == 0 && y == 0:
					picture[row][column] *= p.Response.Red
				case x == 1 && y == 1:
					picture[row][column] *= p.Response.Blue
				default:
					picture[row][column] *= p.Response.Green
				}
			}
		}
	}
	return picture
}

func (s shot) add(picture [][]float64, origin r2.Vec) {
	side := len(picture)
	x0, y0 := math.Floor(s.x), math.Floor(s.y)
	middle := s.place(x0, y0)
	// The pixels that may lie in the patch, from the steps of one pixel.
	a, b := r2.Sub(s.place(x0+1, y0), middle), r2.Sub(s.place(x0, y0+1), middle)
	half := float64(side)/2 + 12
	det := math.Abs(a.X*b.Y - a.Y*b.X)
	reachX := math.Ceil(half*(math.Abs(b.X)+math.Abs(b.Y))/det) + 3
	reachY := math.Ceil(half*(math.Abs(a.X)+math.Abs(a.Y))/det) + 3
	margin := (1 - s.Photosites.Width) / 2
	lit := s.surface.Emitters
	for i := x0 - reachX; i < x0+reachX; i++ {
		for j := y0 - reachY; j < y0+reachY; j++ {
			if c := r2.Sub(s.place(i+0.5, j+0.5), origin); math.Abs(c.X-float64(side)/2) > half || math.Abs(c.Y-float64(side)/2) > half {
				continue
			}
			left, top := i+(1-lit.Width)/2, j+(1-lit.Height)/2
			corners := []r2.Vec{s.place(left, top), s.place(left+lit.Width, top), s.place(left+lit.Width, top+lit.Height), s.place(left, top+lit.Height)}
			low, high := r2.Vec{X: inf, Y: inf}, r2.Vec{X: -inf, Y: -inf}
			for k := range corners {
				corners[k] = r2.Sub(corners[k], origin)
				low = r2.Vec{X: math.Min(low.X, corners[k].X), Y: math.Min(low.Y, corners[k].Y)}
				high = r2.Vec{X: math.Max(high.X, corners[k].X), Y: math.Max(high.Y, corners[k].Y)}
			}
			for row := max(0, int(math.Floor(low.Y))); row <= min(side-1, int(high.Y)); row++ {
				for column := max(0, int(math.Floor(low.X))); column <= min(side-1, int(high.X)); column++ {
					x, y := float64(column)+margin, float64(row)+margin
					picture[row][column] += overlap(corners, x, y, x+s.Photosites.Width, y+s.Photosites.Width)
				}
			}
		}
	}
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

func newSpectrum(picture [][]float64, sampling alias.Sampling) *spectrum {
	side := len(picture)
	weight := harris(side)
	s := &spectrum{samples: make([][]float64, side)}
	var sum float64
	taken := func(row, column int) bool {
		switch sampling {
		case alias.GreenPhotosites:
			return (row+column)%2 == 0
		case alias.RedOrBluePhotosites:
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
func (s *spectrum) contrast(f r2.Vec) float64 { return cmplx.Abs(s.amplitude(f)) }

func (s *spectrum) amplitude(f r2.Vec) complex128 {
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
	return 2 * sum / complex(s.total, 0)
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
func apart(f, g r2.Vec, sampling alias.Sampling) float64 {
	least := inf
	for i := -2; i <= 2; i++ {
		for j := -2; j <= 2; j++ {
			if !reciprocal(i, j, sampling) {
				continue
			}
			x := math.Remainder(f.X-g.X-float64(i)/2, 2)
			y := math.Remainder(f.Y-g.Y-float64(j)/2, 2)
			least = math.Min(least, math.Max(math.Abs(x), math.Abs(y)))
		}
	}
	return least
}

// reciprocal says whether all samples see (i, j) half cycles per photosite as even.
func reciprocal(i, j int, sampling alias.Sampling) bool {
	switch sampling {
	case alias.GreenPhotosites:
		return (i+j)%2 == 0
	case alias.RedOrBluePhotosites:
		return true
	}
	return i%2 == 0 && j%2 == 0
}

// compare predicts the aliases at the place of a shot, compares them with those in
// its rendered picture, where no other comes near enough to disturb, and gives those
// that it compared.
func (s shot) compare(t *testing.T, picture [][]float64, name string) (compared []alias.Alias) {
	t.Helper()
	scene := must[alias.Scene](t)(alias.NewScene(alias.SceneSpec{Surfaces: []alias.Surface{s.surface}, Order: 32}))
	at := s.place(s.x, s.y)
	all, why, err := scene.Aliases(s.Shot, at.X, at.Y)
	require.NoError(t, err)
	require.Equal(t, wall.Seen, why)
	sampling := s.Photosites.Sampling
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
		for i := range 4 { // the mean, and the mosaic itself
			mosaic := r2.Vec{X: float64(i%2) / 2, Y: float64(i/2) / 2}
			if (i == 0 || sampling == alias.Mosaic) && apart(mosaic, all[k].Frequency, sampling) < lobe {
				return false
			}
		}
		return true
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
				if reciprocal(i, j, sampling) && r2.Norm(r2.Sub(m.Frequency, g)) < r2.Norm(m.Frequency)-1e-9 {
					t.Fatalf("%s: %+v is recorded lower by %v", name, m, g)
				}
			}
		}
		if !alone(k) {
			continue
		}
		start := m.Frequency
		if k == 0 && sampling != alias.Mosaic && all[1].Contrast < 0.7*m.Contrast {
			start = seen.highest()
		}
		at, contrast := seen.peak(start)
		off := math.Min(apart(at, m.Frequency, sampling), apart(at, r2.Scale(-1, m.Frequency), sampling))
		what := fmt.Sprintf("%s: %+v, measured %v, %v", name, m, at, contrast)
		ref.Within(t, "W-M15", off, "frequency", what)
		ref.Within(t, "W-M17", off/r2.Norm(m.Frequency), "frequency over itself", what)
		ref.Within(t, "W-M16", math.Abs(contrast/m.Contrast-1), "contrast", what)
		compared = append(compared, m)
	}
	return compared
}

// What a camera records of a wall that heads, tilts, rolls and curves, through a
// rectilinear lens or a fisheye, with and without a low-pass filter, by every kind
// of sampling.
func TestPredictAgainstARenderedWall(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(61, 1))
	found := map[string]int{}
	for i := range *geometries {
		sampling := alias.Sampling(i % 4)
		coarsest, side := [4]float64{4, 6, 8, 3}[sampling], [4]int{112, 112, 144, 128}[sampling]
		finest := 0.8
		if sampling == alias.Mosaic {
			finest = 1.3
		}
		s := anyShot(t, rng, finest, coarsest)
		s.Photosites.Sampling = sampling
		if i%3 == 0 {
			s.Photosites.LowPassX, s.Photosites.LowPassY = rng.Float64(), rng.Float64()
			found["low-pass"]++
		}
		if sampling == alias.Mosaic {
			// Four times as many components crowd the picture: leave the strong ones.
			s.Photosites.Width, s.Photosites.LowPassX, s.Photosites.LowPassY = 1, 0.5+0.3*rng.Float64(), 0.5+0.3*rng.Float64()
			s.surface.Emitters = alias.Emitters{Width: 0.5 + 0.4*rng.Float64(), Height: 0.5 + 0.4*rng.Float64()}
			s.Photosites.Response = alias.Response{Red: 1 + rng.Float64(), Green: rng.Float64(), Blue: 0.2 * rng.Float64()}
		}
		for _, m := range s.compare(t, s.render(side, s.corner(side)), fmt.Sprint(sampling, " ", i)) {
			found[m.Kind.String()]++
			found[m.Carrier.String()]++
		}
	}
	t.Log(found)
	for _, what := range []fmt.Stringer{alias.Aliased, alias.Resolved, alias.Luma, alias.ChromaDiagonal, alias.ChromaAcross, alias.ChromaDown} {
		assert.Positive(t, found[what.String()], "%v: the test has lost its point", what)
	}
}

// Out of focus by a disc of even light, whose OTF is 2 J1(x)/x with x = 2π
// radius ν: negative, for some harmonics, where the lens reverses contrast.
func TestPredictOutOfFocus(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(62, 1))
	compared, reversed := 0, 0
	for i := range max(2, *geometries/40) {
		s := anyShot(t, rng, 1.2, 2)
		radius := 0.9 + 0.4*rng.Float64()
		otf := func(nu r2.Vec) float64 {
			x := 2 * math.Pi * radius * r2.Norm(nu)
			return 2 * math.J1(x) / x
		}
		place, _ := s.surface.Wall.Point(s.x, s.y)
		s.Transfer = func(nu r2.Vec, way r3.Vec) float64 {
			assert.InDelta(t, 0, r3.Norm(r3.Sub(r3.Add(s.Eye, way), place)), 1e-6, "the way leads to the emitters")
			return otf(nu)
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
				for row, line := range s.render(side, r2.Add(s.corner(side), r2.Vec{X: r * cos, Y: r * sin})) {
					for column, v := range line {
						picture[row][column] += weights[ring] * v
					}
				}
			}
		}
		for _, m := range s.compare(t, picture, fmt.Sprint("disc ", i)) {
			compared++
			if otf(m.Source) < 0 {
				reversed++
			}
		}
	}
	assert.True(t, compared > 3 && reversed > 0, "%d compared, %d reversed: the test has lost its point", compared, reversed)
}

// A camera that moves: the phase of the recorded pattern changes by the cycles that
// Crawl gives, and the pattern by its shift.
func TestCrawlAgainstRenderedWalls(t *testing.T) {
	near.NumbersOnly(t)
	rng := rand.New(rand.NewPCG(63, 1))
	const side = 96
	compared := map[alias.Kind]int{}
	for tries := 0; tries < 40 && compared[alias.Aliased]+compared[alias.Resolved]+compared[alias.Beat] < max(6, *geometries/4); tries++ {
		s := anyShot(t, rng, 1, 4)
		moved := s
		// A few photosites at most: the motion of the eye over the pitch in the picture.
		step := 0.003 * rng.Float64()
		moved.Eye = r3.Add(s.Eye, r3.Scale(step, r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})))
		scene := must[alias.Scene](t)(alias.NewScene(alias.SceneSpec{Surfaces: []alias.Surface{s.surface}, Order: 2}))
		at := s.place(s.x, s.y)
		motion, ok := scene.Motion(s.Shot, moved.Shot, at.X, at.Y)
		require.True(t, ok)
		all, _, err := scene.Aliases(s.Shot, at.X, at.Y)
		require.NoError(t, err)
		a := all[0]
		crawl, ok := a.Crawl(motion)
		if !ok || a.Contrast < 0.1 || all[1].Contrast > a.Contrast/2 && apart(all[1].Frequency, a.Frequency, 0) < 5./side || apart(a.Frequency, r2.Scale(-1, a.Frequency), 0) < 5./side || r2.Norm(a.Frequency) < 5./side {
			continue
		}
		corner := s.corner(side)
		before, after := newSpectrum(s.render(side, corner), 0), newSpectrum(moved.render(side, corner), 0)
		turned := cmplx.Phase(after.amplitude(a.Frequency)/before.amplitude(a.Frequency)) / (2 * math.Pi)
		ref.Within(t, "W-A5", math.Abs(math.Remainder(turned+crawl.Cycles, 1)), a, motion)
		compared[a.Kind]++
		// A crest that moves by the shift keeps its phase.
		per := r2.Dot(crawl.Shift, a.Pattern)
		if a.Kind == alias.Beat {
			per /= 2
		}
		assert.InDelta(t, crawl.Cycles, per, 1e-9, "cycles of the pattern")
	}
	assert.True(t, compared[alias.Aliased] > 1, "%v: the test has lost its point", compared)
}
